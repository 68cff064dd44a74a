// What is live on a gauge's page: the ladder follows the form, anchors are dragged, the face lights as the unit
// would. The form works without it.
"use strict";
{
  const quiet = matchMedia("(prefers-reduced-motion: reduce)");

  // The lamps of a face, lit by a cue and blinking at the gauge's own rate.
  class Face {
    constructor(holder) {
      this.holder = holder;
      this.play = null;
      this.window = 0;
      this.blinks = true;
      this.timer = 0;
    }

    use(play) {
      this.play = play;
      this.window = Math.min(this.window, play.windows.length - 1);
      this.draw(true);
    }

    // The rule of the unit: up at a rising threshold, down under a falling one.
    believe(rpm) {
      const windows = this.play.windows;
      let at = this.window;
      while (at + 1 < windows.length && rpm >= windows[at + 1].rising) ++at;
      while (at > 0 && rpm < windows[at].falling) --at;
      this.show(at);
    }

    show(window) {
      if (window === this.window) return;
      this.window = window;
      this.draw(true);
    }

    draw(lit) {
      clearTimeout(this.timer);
      const cue = this.play.windows[this.window];
      const words = new Map(), hows = new Map();
      for (const shape of this.holder.querySelectorAll(".lit")) {
        const channel = Number(shape.dataset.channel), blinking = cue.blinking.includes(channel);
        shape.classList.toggle("on", cue.steady.includes(channel) || (blinking && lit));
        if (blinking || cue.steady.includes(channel)) words.set(shape.dataset.lamp, shape.dataset.word);
        if (blinking) hows.set(shape.dataset.lamp, "blinking");
      }
      for (const text of this.holder.querySelectorAll("text.word, text.how")) {
        const how = text.classList.contains("how");
        const word = how ? hows.get(text.dataset.lamp) || "" : words.get(text.dataset.lamp) || "dark";
        if (text.textContent !== word) text.textContent = word;
      }
      if (cue.blinking.length === 0 || !this.blinks || quiet.matches || this.play.hz <= 0) return;
      const period = 1000 / this.play.hz;
      this.timer = setTimeout(() => this.draw(!lit), period * (lit ? this.play.duty : 1 - this.play.duty));
    }
  }

  const holder = document.querySelector("#face");
  const face = holder ? new Face(holder) : null;
  const choice = document.querySelector("#blink-choice");
  if (face && choice) {
    choice.hidden = false;
    choice.querySelector("input").addEventListener("change", (event) => {
      face.blinks = event.target.checked;
      face.draw(true);
    });
  }

  const form = document.querySelector("form#gauge");
  const slider = document.querySelector("#at_rpm");
  const ladder = document.querySelector("#ladder");

  function speed_words(rpm) {
    const play = face.play;
    return play.speed_per_rpm ? " rpm, " + (rpm * play.speed_per_rpm).toFixed(1) + " " + play.speed_in : " rpm";
  }

  function at_slider() {
    const rpm = Number(slider.value);
    face.believe(rpm);
    const name = face.play.windows[face.window].name;
    document.querySelector("#at").textContent = slider.value;
    slider.setAttribute("aria-valuetext", slider.value + speed_words(rpm) + ": " + name);
    const svg = ladder && ladder.querySelector("svg");
    if (!svg) return;
    const needle = svg.querySelector(".needle");
    needle.removeAttribute("hidden");
    needle.setAttribute("transform", `translate(0 ${(y_of(svg, rpm) + 40).toFixed(2)})`);
    for (const part of svg.querySelectorAll("[data-window]"))
      part.classList.toggle("shown", Number(part.dataset.window) === face.window);
  }

  const number = (svg, name) => Number(svg.dataset[name]);
  function y_of(svg, rpm) {
    const low = number(svg, "low"), high = number(svg, "high");
    const within = Math.min(Math.max(rpm, low), high);
    return number(svg, "bottom") - (within - low) / (high - low) * (number(svg, "bottom") - number(svg, "top"));
  }

  // ---- the form, looked at by the server while it changes ------------------

  let asked = 0, answered = 0, waiting = false, dragging = null;

  async function look() {
    if (waiting) return;
    waiting = true;
    while (answered < asked) {
      answered = asked;
      const body = new URLSearchParams(new FormData(form));
      if (dragging) {
        body.set("ladder_low", dragging.low);
        body.set("ladder_high", dragging.high);
      }
      const answer = await fetch(form.dataset.check, { method: "POST", body, headers: { "X-Fragment": "yes" } })
        .catch(() => null);
      if (answer && answer.ok) tell(await answer.json());
    }
    waiting = false;
  }
  function changed() {
    ++asked;
    look();
  }

  function tell(now) {
    wrong_fields(now.fields);
    const errors = document.querySelector("#errors");
    errors.hidden = now.errors.length === 0;
    errors.querySelector(".count").textContent = now.errors.length === 1 ? "One thing" : now.errors.length + " things";
    errors.querySelector("ul").replaceChildren(...now.errors.map((line) => element("li", line)));
    document.querySelector(".as-saved").hidden = now.sound;
    if (!now.sound) return;
    document.querySelector("#fills").innerHTML = now.definitions;
    const held = document.activeElement && document.activeElement.closest &&
      document.activeElement.closest("#ladder .anchor");
    const anchor = held ? held.dataset.anchor : null;
    ladder.innerHTML = now.ladder;
    holder.innerHTML = now.face;
    document.querySelector("#table").innerHTML = now.table;
    dress_anchors();
    if (anchor !== null) ladder.querySelector(`.anchor[data-anchor="${anchor}"]`)?.focus();
    const play = JSON.parse(now.play);
    set_range(play);
    face.use(play);
    at_slider();
  }

  function set_range(play) {
    slider.step = play.step;
    slider.min = Math.floor(play.low / play.step) * play.step;
    slider.max = Math.ceil(play.high / play.step) * play.step;
  }

  function element(name, text) {
    const made = document.createElement(name);
    made.textContent = text;
    return made;
  }

  function wrong_fields(fields) {
    for (const old of form.querySelectorAll(".gauge-form .wrong[id]")) {
      if (!old.id.startsWith("error-")) continue;
      const field = form.elements[old.id.slice(6)];
      if (field) {
        field.removeAttribute("aria-invalid");
        field.removeAttribute("aria-describedby");
      }
      old.remove();
    }
    for (const [name, sentences] of Object.entries(fields)) {
      const field = form.elements[name];
      if (!field || !field.closest) continue;
      const text = element("p", sentences.join(" "));
      text.className = "wrong";
      text.id = "error-" + name;
      field.setAttribute("aria-invalid", "true");
      field.setAttribute("aria-describedby", text.id);
      field.closest(".field")?.append(text);
    }
  }

  // ---- anchors: dragged, or moved with the arrow keys ----------------------

  const step = () => Number(form.elements.resolution_rpm.value) > 0 ? Number(form.elements.resolution_rpm.value) : 1;

  function move(anchor, rpm) {
    const field = form.elements[`anchor-${anchor}-rpm`];
    if (!field) return;
    const steps = Math.round(Math.min(Math.max(rpm, 0), 20000) / step());
    const text = String(Number((steps * step()).toFixed(6)));
    if (field.value === text) return;
    field.value = text;
    changed();
  }

  function rpm_of(anchor) {
    const field = form.elements[`anchor-${anchor}-rpm`];
    const typed = Number(field ? field.value : NaN);
    const drawn = ladder.querySelector(`.anchor[data-anchor="${anchor}"]`);
    return field && field.value !== "" && Number.isFinite(typed) ? typed : Number(drawn.dataset.rpm);
  }

  function dress_anchors() {
    for (const anchor of ladder.querySelectorAll(".anchor")) {
      anchor.setAttribute("tabindex", "0");
      anchor.setAttribute("role", "slider");
      anchor.setAttribute("aria-orientation", "vertical");
      anchor.setAttribute("aria-valuemin", "0");
      anchor.setAttribute("aria-valuemax", "20000");
      anchor.setAttribute("aria-valuenow", anchor.dataset.rpm);
      anchor.setAttribute("aria-valuetext", anchor.dataset.rpm + speed_words(Number(anchor.dataset.rpm)));
    }
  }

  const keys = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 };

  function dress_ladder() {
    ladder.addEventListener("keydown", (event) => {
      const anchor = event.target.closest(".anchor");
      if (!anchor || !keys[event.key]) return;
      event.preventDefault();
      const id = anchor.dataset.anchor;
      move(id, rpm_of(id) + keys[event.key] * (event.shiftKey ? 10 : 1) * step());
    });
    ladder.addEventListener("pointerdown", (event) => {
      const anchor = event.target.closest(".anchor");
      if (!anchor || event.button !== 0) return;
      event.preventDefault();
      anchor.focus();
      const svg = anchor.closest("svg");
      const low = number(svg, "low"), high = number(svg, "high");
      const pixels = svg.getBoundingClientRect().height / svg.viewBox.baseVal.height *
        (number(svg, "bottom") - number(svg, "top"));
      dragging = { id: anchor.dataset.anchor, from: event.clientY, rpm: rpm_of(anchor.dataset.anchor), low, high,
        rpm_per_pixel: (high - low) / pixels };
      ladder.setPointerCapture(event.pointerId);
    });
    ladder.addEventListener("pointermove", (event) => {
      if (dragging) move(dragging.id, dragging.rpm + (dragging.from - event.clientY) * dragging.rpm_per_pixel);
    });
    for (const end of ["pointerup", "pointercancel"])
      ladder.addEventListener(end, () => {
        if (!dragging) return;
        dragging = null;
        changed();
      });
  }

  if (face && slider && form && ladder) {
    const play = JSON.parse(holder.dataset.play);
    set_range(play);
    face.use(play);
    slider.addEventListener("input", at_slider);
    at_slider();
    dress_anchors();
    dress_ladder();
    form.addEventListener("input", (event) => {
      if (event.target !== slider && event.target.id !== "blinks" && !event.target.name.startsWith("calc_")) changed();
    });
    document.querySelector("#review")?.focus();
  }

  // ---- a logged lap ---------------------------------------------------------

  class Lap {
    constructor(box) {
      const lap = JSON.parse(box.dataset.lap);
      this.windows = lap.windows;
      this.line = lap.line;
      this.lasts = lap.lasts;
      this.box = box;
      this.time = box.querySelector("#lap-time");
      this.key = box.querySelector("#lap-play");
      this.slow = box.querySelector("#lap-slow");
      this.svg = document.querySelector("svg.lap");
      this.since = null; // when the last picture was drawn, while it plays
      box.hidden = false;
      face.use(JSON.parse(holder.dataset.play));
      this.time.addEventListener("input", () => this.at(Number(this.time.value)));
      this.key.addEventListener("click", () => this.press());
      this.at(0);
    }

    press() {
      if (this.since === null && Number(this.time.value) >= this.lasts - 0.01) this.at(0);
      this.since = this.since === null ? performance.now() : null;
      this.key.textContent = this.since === null ? "Play" : "Stop";
      if (this.since !== null) requestAnimationFrame((now) => this.tick(now));
    }

    tick(now) {
      if (this.since === null) return;
      const next = this.t + Math.max(0, now - this.since) / 1000 / (this.slow.checked ? 4 : 1);
      this.since = now;
      this.at(Math.min(next, this.lasts));
      if (next >= this.lasts) this.press();
      else requestAnimationFrame((then) => this.tick(then));
    }

    // The last of a list of [time, value] that is not after t.
    static before(list, t) {
      let low = 0, high = list.length - 1;
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (list[middle][0] <= t) low = middle;
        else high = middle - 1;
      }
      return low;
    }

    at(t) {
      this.t = t;
      this.time.value = t;
      face.show(this.windows[Lap.before(this.windows, t)][1]);
      const i = Lap.before(this.line, t), [t0, r0] = this.line[i], [t1, r1] = this.line[i + 1] || [t0 + 1, r0];
      const rpm = t1 > t0 ? r0 + (r1 - r0) * Math.min(Math.max((t - t0) / (t1 - t0), 0), 1) : r0;
      const window = face.play.windows[face.window].name;
      this.box.querySelector(".value").textContent = rpm.toFixed(0);
      this.box.querySelector(".left").textContent = t.toFixed(2) + " s of " + this.lasts.toFixed(1) + " s: " + window;
      this.time.setAttribute("aria-valuetext", t.toFixed(2) + " s, " + rpm.toFixed(0) + " rpm, " + window);
      move_cursor(this.svg, t / this.lasts);
    }
  }

  function move_cursor(svg, share) {
    svg.querySelector(".cursor").setAttribute("transform",
      `translate(${(share * (number(svg, "right") - number(svg, "left"))).toFixed(2)} 0)`);
  }

  const player = document.querySelector("#player");
  if (face && player) new Lap(player);

  // ---- the width of a deadband ------------------------------------------------

  const width_field = document.querySelector("#width-field");
  if (width_field) {
    const rows = JSON.parse(width_field.dataset.rows);
    const width = document.querySelector("#width"), svg = document.querySelector("svg.curve");
    const choose = () => {
      const asked = Number(width.value);
      const row = rows.reduce((best, one) => Math.abs(one[0] - asked) < Math.abs(best[0] - asked) ? one : best);
      document.querySelector("#at-width").textContent = row[1];
      width.setAttribute("aria-valuetext", row[1]);
      move_cursor(svg, row[0] / number(svg, "widest"));
    };
    width_field.hidden = false;
    width.addEventListener("input", choose);
    choose();
  }

  // ---- what takes long says so --------------------------------------------------

  for (const slow of document.querySelectorAll("form[data-waits]")) {
    const word = element("p", "");
    word.className = "waiting";
    word.setAttribute("role", "status");
    word.hidden = true;
    slow.after(word);
    slow.addEventListener("submit", () => {
      word.hidden = false;
      word.textContent = slow.dataset.waits;
      slow.querySelector("button").disabled = true;
    });
    // Back to this page: it is not working any more.
    addEventListener("pageshow", () => {
      word.hidden = true;
      slow.querySelector("button").disabled = false;
    });
  }
}

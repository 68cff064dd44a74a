// What is live on the bench page. Everything else works without it, by forms and links.
"use strict";

let latest = null; // the tile that had the focus last

const soundIsWanted = () => localStorage.getItem("sound") === "on";

// What the bench tells of its own accord. It rests while nobody sees the page: who looks again hears the newest of
// everything first. A page that is to be heard, not seen, does not rest.
class Live {
  constructor(address, mayBeHeard = () => false) {
    this.address = address;
    this.mayBeHeard = mayBeHeard;
    this.heard = [];
    this.source = null;
    document.addEventListener("visibilitychange", () => this.look());
  }

  on(name, does) {
    this.heard.push([name, does]);
    if (this.source) this.source.addEventListener(name, does);
  }

  look() {
    if (document.hidden && !this.mayBeHeard()) this.close();
    else if (this.source === null || this.source.readyState === EventSource.CLOSED) this.open();
  }

  open() {
    this.source = new EventSource(this.address);
    for (const [name, does] of this.heard) this.source.addEventListener(name, does);
  }

  close() {
    if (this.source) this.source.close();
    this.source = null;
  }
}

// One connection for all tiles: a browser opens six to one server.
const live = document.querySelector(".tile") ? new Live("/events", soundIsWanted) : null;

const still = matchMedia("(prefers-reduced-motion: reduce)");

// "45 s", "12 min", "2 h 5 min".
function lasting(s) {
  if (s < 120) return s.toFixed(0) + " s";
  const min = Math.round(s / 60);
  return min < 60 ? min + " min" : Math.floor(min / 60) + " h " + min % 60 + " min";
}

class Tile {
  constructor(section) {
    this.section = section;
    this.address = "/tiles/" + encodeURIComponent(section.dataset.tile);
    this.number = Number(section.dataset.number);
    this.lit = [];
    this.flips = new Map(); // a lamp's channel and when it last went on
    this.keyTimer = 0;
    section.addEventListener("focusin", () => { latest = this; });
    this.listen();
    this.dress();
  }

  listen() {
    const on = (name, does) => live.on(this.section.dataset.tile + "/" + name,
      (event) => does.call(this, JSON.parse(event.data)));
    on("state", this.changed);
    on("lamps", this.lamps);
    on("rpm", this.rpm);
    on("phase", (phase) => this.write(".phase", phase.text));
    on("finding", this.findings);
  }

  find(selector) { return this.section.querySelector(selector); }
  write(selector, text) {
    const place = this.find(selector);
    if (place && place.textContent !== text) place.textContent = text;
  }

  // The tile's inside, drawn anew by the server.
  async changed(state) {
    if (state.number <= this.number) return; // drawn already
    this.number = state.number;
    const answer = await fetch(this.address, { headers: { "X-Fragment": "yes" } });
    if (!answer.ok) return;
    const number = Number(answer.headers.get("X-Tile-Number"));
    const inside = await answer.text();
    if (number < this.number) return; // a newer one is on its way
    this.number = number;
    const typed = this.find(".serial input");
    const kept = typed && document.activeElement === typed && typed.value ? typed.value : "";
    this.section.dataset.state = answer.headers.get("X-Tile-State");
    this.section.innerHTML = inside;
    this.dress();
    const field = this.find(".serial input");
    if (kept && field && field.name === "serial" && !field.value) field.value = kept;
    this.show(this.lit);
    if (latest === this && ["result", "asking"].includes(this.section.dataset.state))
      this.section.scrollIntoView({ block: "start" });
    if (this.section.dataset.state === "asking" || this.section.dataset.state === "result") sound();
  }

  // The focus stays in the tile that a person works at; and forms that need no new page.
  dress() {
    // Never the Stop button: the Enter of a scanner would press it.
    const first = this.find("[autofocus]");
    const elsewhere = document.activeElement && document.activeElement !== document.body;
    if (first && !elsewhere && (latest === null || latest === this)) first.focus({ preventScroll: true });
    for (const form of this.section.querySelectorAll("form"))
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        this.send(form.action, new URLSearchParams(new FormData(form)));
        // What is typed from now on is the next one's.
        const field = form.querySelector("input[name=serial]:not([type=hidden])");
        if (field) field.value = "";
      });
    for (const choice of this.section.querySelectorAll("[data-sends]"))
      choice.addEventListener("change", () => choice.form.requestSubmit());
    for (const field of this.section.querySelectorAll(".serial input"))
      field.addEventListener("keydown", (event) => this.typed(event, field));
  }

  async send(action, body) {
    const answer = await fetch(action, { method: "POST", body, headers: { "X-Fragment": "yes" } });
    if (!answer.ok) location.reload();
  }

  press(key) {
    const control = this.find(`[data-key="${key}"]`);
    if (control) control.click();
    return control !== null;
  }

  // In the field of a result: Enter alone is the next unit, R again, P the report. A scanner's letters come
  // faster than a person's, and more of them.
  typed(event, field) {
    clearTimeout(this.keyTimer);
    if (event.key === "Escape") {
      field.value = "";
      return;
    }
    if (this.section.dataset.state !== "result") return;
    if (event.key === "Enter" && field.value === "") {
      event.preventDefault();
      this.press("next");
    } else if (event.key.length === 1 && field.value === "") {
      this.keyTimer = setTimeout(() => {
        const word = field.value.toLowerCase();
        if (word === "r" || word === "p") {
          field.value = "";
          this.press(word === "r" ? "again" : "report");
        }
      }, 700);
    }
  }

  lamps(now) {
    const at = performance.now();
    for (const channel of now.lit)
      if (!this.lit.includes(channel)) {
        const before = this.flips.get(channel) || [];
        this.flips.set(channel, [...before.filter((t) => at - t < 2000), at]);
      }
    this.show(now.lit);
  }

  blinks(channel) {
    const times = this.flips.get(channel) || [];
    return times.filter((t) => performance.now() - t < 2000).length >= 3;
  }

  show(lit) {
    this.lit = lit;
    const words = new Map(), hows = new Map();
    for (const shape of this.section.querySelectorAll(".lit")) {
      const { channel, lamp, word } = shape.dataset;
      const blinks = this.blinks(Number(channel));
      const on = lit.includes(Number(channel));
      shape.classList.toggle("on", on || (blinks && still.matches));
      if (!on && !blinks) continue;
      words.set(lamp, words.has(lamp) ? words.get(lamp) + " and " + word : word);
      if (blinks) hows.set(lamp, "blinking");
    }
    const say = (texts, of, otherwise) => {
      for (const text of this.section.querySelectorAll(texts)) {
        const word = of.get(text.dataset.lamp) || otherwise;
        if (text.textContent !== word) text.textContent = word;
      }
    };
    say("text.word", words, "dark");
    say("text.how", hows, "");
  }

  rpm(now) {
    this.write(".rpm .value", String(now.rpm));
    this.write(".rpm .left", now.of === null ? lasting(now.t) : lasting(Math.max(0, now.of - now.t)) + " left");
    const strip = this.find(".strip");
    if (!strip) return;
    const knots = strip.dataset.knots.split(" ").map((knot) => knot.split(",").map(Number));
    const y = (rpm) => {
      const above = knots.findIndex(([at]) => at > rpm);
      if (above <= 0) return above === 0 ? knots[0][1] : knots.at(-1)[1];
      const [low, from] = knots[above - 1], [high, to] = knots[above];
      return from + (rpm - low) / (high - low) * (to - from);
    };
    const x = (t) => 420 - (now.t - t) / 15 * 360;
    const line = now.line.filter(([t]) => now.t - t <= 15);
    strip.querySelector(".track").setAttribute("d",
      line.map(([t, rpm], i) => (i ? "L" : "M") + x(t).toFixed(1) + " " + y(rpm).toFixed(1)).join(""));
    strip.querySelector(".now").setAttribute("cy", y(now.rpm).toFixed(1));
    this.show(this.lit); // a lamp that has stopped blinking
  }

  findings(found) {
    const list = this.find(".findings");
    if (!list) return;
    const lines = found.more ? [...found.list, "and " + found.more + " more"] : found.list;
    if (list.childElementCount === lines.length && list.lastElementChild?.textContent === lines.at(-1)) return;
    list.replaceChildren(...lines.map((line) => {
      const item = document.createElement("li");
      item.textContent = line;
      return item;
    }));
  }
}

// Two short tones, where the person has asked for them.
function sound() {
  if (!soundIsWanted()) return;
  const audio = new AudioContext();
  for (const [at, hz] of [[0, 660], [0.18, 880]]) {
    const tone = audio.createOscillator(), level = audio.createGain();
    tone.frequency.value = hz;
    level.gain.value = 0.15;
    tone.connect(level).connect(audio.destination);
    tone.start(audio.currentTime + at);
    tone.stop(audio.currentTime + at + 0.14);
  }
}

for (const place of document.querySelectorAll(".sound")) {
  const box = place.querySelector("input");
  place.hidden = false;
  box.checked = soundIsWanted();
  box.addEventListener("change", () => localStorage.setItem("sound", box.checked ? "on" : "off"));
}

const tiles = [...document.querySelectorAll(".tile")].map((section) => new Tile(section));

// What stands on the page is old as long as nobody tells it what is new: say so.
if (live) {
  const lost = document.createElement("p");
  lost.className = "trouble lost";
  lost.setAttribute("role", "alert");
  lost.textContent = "This page hears nothing from the bench: what it shows may be old. A run needs no page and goes " +
    "on. If 'tachproof serve' has ended, start it again and open the address that it prints.";
  live.on("error", () => document.querySelector("main").prepend(lost));
  live.on("open", () => lost.remove());
  live.look();
}

// Escape twice within a second stops the run of the tile that has the focus, or the only one.
let escaped = -Infinity;
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  const running = tiles.filter((tile) => ["running", "asking"].includes(tile.section.dataset.state));
  const nowhere = document.activeElement === document.body;
  const inside = nowhere ? latest : tiles.find((tile) => tile.section.contains(document.activeElement));
  const meant = inside ? running.find((tile) => tile === inside) : running.length === 1 ? running[0] : null;
  if (meant && performance.now() - escaped < 1000) meant.press("stop");
  // One that cleared a field, before the run, is no half of it.
  escaped = meant ? performance.now() : -Infinity;
});

// What takes long: its page is drawn anew when there is news.
for (const section of document.querySelectorAll("[data-errand]")) {
  const news = new Live("/errands/" + encodeURIComponent(section.dataset.errand) + "/events");
  news.on("state", (event) => {
    if (JSON.parse(event.data).number === Number(section.dataset.number)) return;
    news.close();
    location.reload();
  });
  news.on("phase", (event) => {
    const phase = section.querySelector(".phase");
    if (phase) phase.textContent = JSON.parse(event.data).text;
  });
  news.look();
}

// A report has no script of its own: the page that opens it prints it.
for (const link of document.querySelectorAll("[data-prints]"))
  link.addEventListener("click", (event) => {
    const sheet = window.open(link.href, "_blank");
    if (!sheet) return; // not allowed: then it is an ordinary link
    event.preventDefault();
    sheet.addEventListener("load", () => sheet.print());
  });

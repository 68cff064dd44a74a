#include "tests/study/unit.h"

#include <algorithm>
#include <bit>
#include <deque>

namespace tachproof::study {
namespace {

// Feeds edges, gives what is read whenever the reading changes.
class Meter {
 public:
  explicit Meter(const Unit& unit) : unit_(unit), gate_ends_(unit.gate_s) {}

  // Gate ends before the edge come first: call `gates_until` before.
  template <class Use>
  void edge(double t, Use use) {
    if (edges_ > 0 && t - last_ < unit_.holdoff_s) return;
    const double period = t - last_;
    ++edges_;
    last_ = t;
    switch (unit_.reading) {
      case Reading::pulses:
        kept_.push_back(t);
        if (static_cast<int>(kept_.size()) > unit_.pulses + 1) kept_.pop_front();
        if (kept_.size() > 1) use(t, rpm(static_cast<double>(kept_.size() - 1) / (t - kept_.front())));
        break;
      case Reading::exponential:
        if (edges_ < 2) break;
        if (edges_ == 2) value_ = rpm(1 / period);
        value_ += (1 - std::exp(-period / unit_.tau_s)) * (rpm(1 / period) - value_);
        use(t, value_);
        break;
      case Reading::loop: loop(t, period, use); break;
      case Reading::gate:
        in_gate_last_ = t;
        ++in_gate_;
        break;
      case Reading::counts: ++in_gate_; break;
    }
  }

  template <class Use>
  void gates_until(double t, Use use) {
    if (unit_.reading != Reading::gate && unit_.reading != Reading::counts) return;
    for (; gate_ends_ <= t; gate_ends_ += unit_.gate_s) {
      if (unit_.reading == Reading::counts) {
        if (edges_ > 1) use(gate_ends_, rpm(in_gate_ / unit_.gate_s));
      } else if (in_gate_ > 0) {
        // From the last edge of the gate before to the last of this one.
        if (before_gate_ > -1e8) use(gate_ends_, rpm(in_gate_ / (in_gate_last_ - before_gate_)));
        before_gate_ = in_gate_last_;
      }
      in_gate_ = 0;
    }
  }
  void begin_gates(double t) { gate_ends_ = t + unit_.gate_s; }

 private:
  double rpm(double hz) const { return 60 * hz / unit_.pulses_per_rev; }

  // Phase and frequency run on between the edges; each edge pulls both by how far the phase is off.
  template <class Use>
  void loop(double t, double period, Use use) {
    if (edges_ < 3) {
      value_ = edges_ == 2 ? 1 / period : 0;
      return;
    }
    phase_ += value_ * period + pull_ - 1;  // relative to the pulses counted
    const double kp = 2 * unit_.zeta * unit_.omega, ki = unit_.omega * unit_.omega;
    const double error = -phase_, step = std::min(period, 0.25 / unit_.omega);
    value_ = std::max(0.0, value_ + ki * error * step);
    pull_ = kp * error * step;
    use(t, rpm(value_));
  }

  const Unit& unit_;
  std::deque<double> kept_;
  long edges_ = 0;
  double last_ = -1e9, value_ = 0, phase_ = 0, pull_ = 0;
  double gate_ends_, in_gate_ = 0, in_gate_last_ = -1e9, before_gate_ = -1e9;
};

class Windows {
 public:
  Windows(const Unit& unit, double begins_s, Shown& shown) : unit_(unit), shown_(shown) {
    shown_.windows.push_back({begins_s, 0});
  }
  void believe(double t, double rpm) {
    for (const Spell& s : unit_.spells)
      if (s.kind == Spell::Kind::frozen && t >= s.from_s && t < s.until_s) return;
    if (unit_.round_rpm > 0) rpm = std::floor(rpm / unit_.round_rpm + 0.5) * unit_.round_rpm;
    const std::size_t was = at_;
    while (at_ + 1 < unit_.cues.size() && rpm >= unit_.rising[at_ + 1]) ++at_;
    while (at_ > 0 && rpm < unit_.falling[at_]) --at_;
    if (at_ == was) return;
    const double shows = t + (at_ > was ? unit_.delay_up_s : unit_.delay_down_s);
    auto& all = shown_.windows;
    while (all.size() > 1 && all.back().at_s >= shows) all.pop_back();  // was still to come
    if (all.back().window != at_) all.push_back({shows, at_});
  }

 private:
  const Unit& unit_;
  Shown& shown_;
  std::size_t at_ = 0;
};

void paint(const Unit& unit, double begins_s, double until_s, Shown& shown) {
  const auto put = [&](double t, Channels lit) {
    lit = (lit & ~unit.stuck_dark) | unit.stuck_lit;
    if (shown.picture.empty() || shown.picture.back().lit != lit) shown.picture.push_back({t, lit});
  };
  // Where the cue may change: at moves, and where a spell begins or ends.
  struct Change {
    double at_s;
    std::size_t window;
    Cue cue;
  };
  std::vector<double> at{begins_s};
  for (const Moment& m : shown.windows) at.push_back(m.at_s);
  for (const Spell& s : unit.spells)
    if (s.kind == Spell::Kind::picture) at.insert(at.end(), {s.from_s, s.until_s});
  std::sort(at.begin(), at.end());
  std::size_t next = 0, window = 0;
  double origin = 0;
  Channels blinked = 0;
  for (std::size_t i = 0; i < at.size(); ++i) {
    const double from = at[i], until = i + 1 < at.size() ? at[i + 1] : until_s;
    if (from < begins_s || from >= until_s) continue;
    while (next < shown.windows.size() && shown.windows[next].at_s <= from)
      window = shown.windows[next++].window;
    Cue cue = unit.cues[window];
    for (const Spell& s : unit.spells)
      if (s.kind == Spell::Kind::picture && s.window == window && from >= s.from_s && from < s.until_s)
        cue = s.cue;
    if (cue.blinking != 0 && blinked == 0 && unit.start != Unit::Start::free)
      origin = from + (unit.start == Unit::Start::dark ? (1 - unit.blink_duty) / unit.blink_hz : 0);
    blinked = cue.blinking;
    if (cue.blinking == 0 || !unit.blinks) {
      put(from, cue.steady | (unit.never_lit ? 0 : cue.blinking));
      continue;
    }
    if (unit.start == Unit::Start::free) origin = unit.blink_phase / unit.blink_hz;
    const double period = 1 / unit.blink_hz;
    double cycle = std::floor((from - origin) / period);
    bool lit = from - origin - cycle * period < unit.blink_duty * period;
    double t = from;
    while (t < until) {
      put(t, cue.steady | (lit ? cue.blinking : 0));
      t = origin + (lit ? cycle + unit.blink_duty : cycle + 1) * period;
      if (!lit) ++cycle;
      lit = !lit;
    }
  }
}

struct Toggle {
  double at_s;
  int channel;
};

void fold(std::vector<Toggle>& toggles, Channels lit, double begins_s, std::vector<Seen>& out) {
  std::sort(toggles.begin(), toggles.end(), [](const Toggle& a, const Toggle& b) { return a.at_s < b.at_s; });
  out.push_back({begins_s, lit});
  for (const Toggle& t : toggles) {
    lit ^= Channels{1} << t.channel;
    if (out.back().at_s == t.at_s)
      out.back().lit = lit;
    else
      out.push_back({t.at_s, lit});
  }
}

void wire(const Unit& unit, double begins_s, double until_s, Shown& shown) {
  std::vector<Toggle> toggles;
  for (int c = 0; c < static_cast<int>(unit.late_s.size()); ++c) {
    const Channels bit = Channels{1} << c;
    bool was = false;
    double since = 0;
    const auto lit_between = [&](double from, double until) {
      if (unit.pwm_hz <= 0) {
        toggles.push_back({from, c});
        toggles.push_back({until, c});
        return;
      }
      const double period = 1 / unit.pwm_hz;
      for (double n = std::floor(from / period - unit.pwm_phase);; ++n) {
        const double on = (n + unit.pwm_phase) * period, off = on + unit.pwm_duty * period;
        if (on >= until) break;
        if (off <= from) continue;
        toggles.push_back({std::max(on, from), c});
        toggles.push_back({std::min(off, until), c});
      }
    };
    for (const Seen& s : shown.picture) {
      const bool is = s.lit & bit;
      if (is == was) continue;
      // What it begins with it has shown for long.
      const double late = &s == &shown.picture.front() ? 0 : unit.late_s[static_cast<std::size_t>(c)];
      const double at = s.at_s + late;
      if (is)
        since = at;
      else
        lit_between(since, at);
      was = is;
    }
    if (was) lit_between(since, until_s + 1);
  }
  std::erase_if(toggles, [&](const Toggle& t) { return t.at_s > until_s; });
  fold(toggles, 0, begins_s, shown.lines);
}

}  // namespace

double Unit::latest_lamp_s() const {
  double most = 0;
  for (const double s : late_s) most = std::max(most, s);
  return most;
}

double Unit::least_delay_s(double rpm, bool up) const {
  const double p = 60 / (pulses_per_rev * rpm), a = std::exp(-p / std::max(tau_s, 1e-9));
  const double delay = up ? delay_up_s : delay_down_s;
  switch (reading) {
    case Reading::pulses: return delay + pulses * p / 2;
    case Reading::exponential: return delay + p * a / (1 - a) + p / 2;
    case Reading::gate:
    case Reading::counts: return delay + gate_s / 2;
    case Reading::loop: return delay + 2 * zeta / omega;
  }
  return delay;
}

double Unit::most_delay_s(double rpm, bool up) const {
  const double p = 60 / (pulses_per_rev * rpm);
  const double wait = reading == Reading::gate || reading == Reading::counts ? gate_s + p : p;
  return least_delay_s(rpm, up) + wait + (update_hz > 0 ? 1 / update_hz : 0);
}

Unit::Threshold Unit::effective(std::size_t b, bool up, double true_pulses_per_rev) const {
  double at = up ? rising[b] : falling[b];
  // What it rounds to `at` or more, rounding to the nearest.
  if (round_rpm > 0) at = std::ceil(at / round_rpm - 1e-9) * round_rpm - round_rpm / 2;
  double from = at;
  if (reading == Reading::counts) {
    const double one = 60 / (pulses_per_rev * gate_s);
    at = std::ceil(at / one - 1e-9) * one;
    from = at - one;
  }
  const double scale = pulses_per_rev / true_pulses_per_rev;
  return {from * scale, at * scale};
}

std::string Unit::type() const {
  if (reading == Reading::counts) return "gate, edges counted";
  if (update_hz > 0 && update_hz < 25) return "12 to 20 updates a second";
  if (std::abs(delay_up_s - delay_down_s) > 0.01) return "other response up than down";
  switch (reading) {
    case Reading::pulses: return "average over pulses";
    case Reading::exponential: return "exponential filter";
    case Reading::gate: return "gate of 20 to 100 ms";
    case Reading::counts: break;
    case Reading::loop: return "tracking loop";
  }
  return "";
}

Shown watch(const Unit& unit, const std::vector<double>& rises, double begins_s, double until_s) {
  Shown shown;
  Meter meter(unit);
  meter.begin_gates(begins_s);
  Windows windows(unit, begins_s, shown);
  double read = -1, update = 0, next_update = begins_s;
  if (unit.update_hz > 0) {
    update = 1 / unit.update_hz;
    next_update = begins_s + unit.update_phase * update;
  }
  const auto updates_until = [&](double t) {
    for (; update > 0 && next_update <= t; next_update += update)
      if (read >= 0) windows.believe(next_update, read);
  };
  const auto use = [&](double t, double rpm) {
    updates_until(t);
    read = rpm;
    if (update == 0) windows.believe(t, rpm);
  };
  for (const double t : rises) {
    meter.gates_until(t, use);
    updates_until(t);
    meter.edge(t, use);
  }
  meter.gates_until(until_s, use);
  updates_until(until_s);
  paint(unit, begins_s, until_s, shown);
  wire(unit, begins_s, until_s, shown);
  return shown;
}

void glitch(std::vector<Seen>& lines, int channels, double per_s, double until_s, Draw& draw) {
  if (per_s <= 0 || lines.empty()) return;
  std::vector<Toggle> toggles;
  for (std::size_t i = 1; i < lines.size(); ++i)
    for (Channels left = lines[i].lit ^ lines[i - 1].lit; left != 0; left &= left - 1)
      toggles.push_back({lines[i].at_s, std::countr_zero(left)});
  for (double t = draw.exponential(1 / per_s); t < until_s; t += draw.exponential(1 / per_s)) {
    const int channel = draw.whole(0, channels - 1);
    toggles.push_back({t, channel});
    toggles.push_back({std::min(t + draw.log_between(0.1e-6, 5e-6), until_s), channel});
  }
  const Seen first = lines.front();
  lines.clear();
  fold(toggles, first.lit, first.at_s, lines);
}

}  // namespace tachproof::study

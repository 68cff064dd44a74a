#include "tests/bench/mutation_oracle.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <stdexcept>

#include "bench/rigs/simulated/faults.h"
#include "bench/rigs/simulated/unit_settings.h"

namespace tachproof {
namespace {

constexpr double well_inside = 0.95, well_outside = 1.05;
constexpr double surely = 12;  // expected; e^-12 is the chance of none

double interval_s(const UnitSettings& unit, double rpm) {
  return unit.update_hz > 0 ? 1 / unit.update_hz : 60 / (unit.gauge.pulses_per_rev * rpm);
}

// One tick of the unit's timer, in rpm.
double tick_rpm(const UnitSettings& unit, double rpm) {
  const double period_s = 60 / (unit.gauge.pulses_per_rev * rpm);
  return rpm / (unit.timer_hz * period_s * static_cast<double>(unit.averaging_pulses));
}

double uncertainty_rpm(const UnitSettings& unit, const Gauge& gauge) {
  const double top = gauge.windows.back().from_rpm, low = gauge.windows[1].from_rpm;
  return tick_rpm(unit, top) + slowest_rate(gauge) * interval_s(unit, low);
}

// At the slowest pulses that a profile has: a survey goes down to 0.4 of the lowest threshold.
double delay_ms(const UnitSettings& unit, const Gauge& gauge, bool surveyed) {
  const double low = (surveyed ? 0.4 : 0.85) * gauge.falling_rpm(1);
  const double period_ms = 60e3 / (gauge.pulses_per_rev * low);
  const double update_ms = unit.update_hz > 0 ? 1e3 / unit.update_hz : 0;
  return to_ms(unit.response) + update_ms + (static_cast<double>(unit.averaging_pulses) + 1) * period_ms;
}

// ---- the still picture ------------------------------------------------------------

struct Stretch {
  double low = 0, high = 0;
  Cue cue;
};

// Thresholds in rpm of the signal, and what is shown between them.
struct Ladder {
  std::vector<double> rising, falling;  // [boundary]
  std::vector<Cue> cues;

  std::size_t next(std::size_t at, double rpm) const {
    while (at + 1 < cues.size() && rpm >= rising[at + 1]) ++at;
    while (at > 0 && rpm < falling[at]) --at;
    return at;
  }

  std::vector<Stretch> way_up(double bottom, double top) const {
    std::vector<double> at(rising.begin() + 1, rising.end());
    std::sort(at.begin(), at.end());
    std::vector<Stretch> way;
    std::size_t window = next(0, bottom);
    double from = bottom;
    for (const double rpm : at) {
      if (rpm <= bottom || rpm > top) continue;
      way.push_back({from, rpm, cues[window]});
      window = next(window, rpm);
      from = rpm;
    }
    way.push_back({from, top, cues[window]});
    return way;
  }

  std::vector<Stretch> way_down(double bottom, double top) const {
    std::vector<double> at(falling.begin() + 1, falling.end());
    std::sort(at.rbegin(), at.rend());
    std::vector<Stretch> way;
    std::size_t window = next(0, bottom);
    for (double rpm : rising)
      if (rpm <= top) window = std::max(window, next(window, top));
    double from = top;
    for (const double rpm : at) {
      if (rpm <= bottom || rpm > top) continue;
      way.push_back({rpm, from, cues[window]});
      window = next(window, std::nextafter(rpm, 0));
      from = rpm;
    }
    way.push_back({bottom, from, cues[window]});
    return way;
  }
};

Ladder set_ladder(const Gauge& gauge) {
  Ladder ladder;
  for (std::size_t b = 0; b < gauge.windows.size(); ++b) {
    ladder.rising.push_back(b == 0 ? 0 : gauge.rising_rpm(b));
    ladder.falling.push_back(b == 0 ? 0 : gauge.falling_rpm(b));
    ladder.cues.push_back(gauge.windows[b].cue);
  }
  return ladder;
}

Ladder real_ladder(const UnitSettings& unit, double pulses_per_rev) {
  Ladder ladder = set_ladder(unit.gauge);
  const double step = unit.resolution_rpm, scale = unit.gauge.pulses_per_rev / pulses_per_rev;
  for (std::vector<double>* thresholds : {&ladder.rising, &ladder.falling})
    for (double& rpm : *thresholds) {
      if (step > 0 && std::isfinite(rpm) && rpm > 0) rpm = (std::ceil(rpm / step - 1e-9) - 0.5) * step;
      rpm *= scale;
    }
  for (Cue& cue : ladder.cues) {
    cue.steady = (cue.steady & ~unit.stuck_off) | unit.stuck_on;
    cue.blinking &= ~(unit.stuck_on | unit.stuck_off);
  }
  return ladder;
}

const Cue& shown_at(const std::vector<Stretch>& way, double rpm) {
  for (const Stretch& s : way)
    if (rpm >= s.low && rpm < s.high) return s.cue;
  return way.back().cue;
}

// The longest part of `stretch`, within low..high, that is further than `reach` from
// everything in `way` that `good` accepts.
template <class Good>
double longest_apart(const Stretch& stretch, const std::vector<Stretch>& way, double reach, double low,
                     double high, Good good) {
  std::vector<std::pair<double, double>> covered;
  for (const Stretch& other : way)
    if (good(other.cue)) covered.emplace_back(other.low - reach, other.high + reach);
  std::sort(covered.begin(), covered.end());
  double at = std::max(stretch.low, low), longest = 0;
  const double end = std::min(stretch.high, high);
  for (const auto& [from, to] : covered) {
    longest = std::max(longest, std::min(from, end) - at);
    at = std::max(at, to);
  }
  return std::max(longest, end - at);
}

// ---- where the profile rests ---------------------------------------------------------

struct Rest {
  std::size_t window = 0;
  double rpm = 0;
  Nanos from = 0, until = 0;  // settled
};

std::vector<Rest> rests_of(const Gauge& gauge, const Profile& profile) {
  std::vector<Rest> rests;
  const Nanos settled = gauge.tolerance.response_to + gauge.tolerance.settle;
  for (const Segment& s : profile.segments()) {
    const Nanos from = s.start.whole + settled + 1, until = s.start.whole + from_seconds(s.lasts_s);
    if (s.shape != Segment::Shape::constant || until - from < 50 * ns_per_ms) continue;
    std::size_t w = 0;
    while (w < gauge.boundaries() && s.rpm0 >= gauge.rising_rpm(w + 1)) ++w;
    const double slack = gauge.tolerance.rpm + 0.5;
    const bool clear = (w == 0 || s.rpm0 >= gauge.rising_rpm(w) + slack) &&
                       (w == gauge.boundaries() || s.rpm0 <= gauge.falling_rpm(w + 1) - slack);
    if (clear) rests.push_back({w, s.rpm0, from, until});
  }
  return rests;
}

class Oracle {
 public:
  Oracle(const MutationPair& pair, const UnitSettings& unit)
      : pair_(pair),
        gauge_(pair.gauge),
        unit_(unit),
        profile_(acceptance_steps(pair.gauge)),
        rests_(rests_of(gauge_, profile_)),
        bottom_(profile_.lowest_rpm()),
        top_(profile_.highest_rpm()),
        set_(set_ladder(gauge_)),
        real_(real_ladder(unit, gauge_.pulses_per_rev)) {
    for (std::size_t b = 1; b <= gauge_.boundaries(); ++b)
      if (!share_a_picture(gauge_.windows[b - 1].cue, gauge_.windows[b].cue)) visible_.push_back(b);
  }

  Told told() {
    still_picture();
    rested_cues();
    blink();
    delay();
    noise();
    if (!pair_.surveyed) {
      freezes();
      dips();
      loose_lamps();
    } else if (!unit_.frozen.empty() || !unit_.resets.empty() || !unit_.intermittent.empty()) {
      between("a spell in a survey");
    }
    return told_;
  }

 private:
  void outside(const std::string& why) {
    if (told_.truth != Truth::outside) told_ = {Truth::outside, why};
  }
  void between(const std::string& why) {
    if (told_.truth == Truth::inside) told_ = {Truth::between, why};
  }

  void still_picture() {
    const double t = gauge_.tolerance.rpm, least = 0.05 * t + uncertainty_rpm(unit_, gauge_);
    for (const bool up : {true, false}) {
      const auto set = up ? set_.way_up(bottom_, top_) : set_.way_down(bottom_, top_);
      const auto real = up ? real_.way_up(bottom_, top_) : real_.way_down(bottom_, top_);
      for (const Stretch& s : real) {
        const auto alike = [&](const Cue& cue) { return share_a_picture(cue, s.cue); };
        const auto same = [&](const Cue& cue) { return cue == s.cue; };
        if (longest_apart(s, set, well_inside * t, bottom_, top_, same) > 1e-9) between("thresholds or cues");
        if (!pair_.surveyed) {
          if (longest_apart(s, set, t, bottom_, top_, alike) > least) outside("thresholds or cues");
          continue;
        }
        // A survey looks near the boundaries only.
        const double near = t + 1 + 0.5 * t;
        for (const std::size_t b : visible_)
          if (longest_apart(s, set, t, gauge_.falling_rpm(b) - near, gauge_.rising_rpm(b) + near, alike) >
              least)
            outside("thresholds or cues");
      }
    }
  }

  void rested_cues() {
    const double u = uncertainty_rpm(unit_, gauge_);
    const auto up = real_.way_up(bottom_, top_), down = real_.way_down(bottom_, top_);
    for (const Rest& rest : rests_) {
      const Cue& set = gauge_.windows[rest.window].cue;
      if (pair_.surveyed && set.blinking == 0) continue;
      const Cue& real = shown_at(up, rest.rpm);
      for (const double rpm : {rest.rpm - u, rest.rpm, rest.rpm + u})
        for (const auto& way : {up, down})
          if (!(shown_at(way, rpm) == real)) return between("a threshold where the profile rests");
      if (real == set) continue;
      // Does it last for a blink of what differs?
      const Channels blinking = real.blinking | set.blinking;
      const double hz = std::min(unit_.gauge.blink->hz, gauge_.blink->hz);
      if (blinking == 0 || to_seconds(rest.until - rest.from) > 3 / hz) outside("a cue at rest");
    }
  }

  void blink() {
    const Tolerance& t = gauge_.tolerance;
    const double off = std::max(std::abs(unit_.gauge.blink->hz - gauge_.blink->hz) / t.blink_hz,
                                std::abs(unit_.gauge.blink->duty - gauge_.blink->duty) / t.blink_duty);
    if (off <= well_inside) return;
    const auto up = real_.way_up(bottom_, top_);
    for (const Rest& rest : rests_) {
      const Cue& set = gauge_.windows[rest.window].cue;
      if ((shown_at(up, rest.rpm).blinking & set.blinking) == 0) continue;
      const bool lasts =
          to_seconds(rest.until - rest.from) > 4 / std::min(unit_.gauge.blink->hz, gauge_.blink->hz);
      if (off >= well_outside && (lasts || pair_.surveyed)) return outside("the blink");
    }
    for (const Window& window : gauge_.windows)
      if (window.cue.blinking != 0) return between("the blink");
  }

  void delay() {
    if (visible_.empty()) return;
    const double longest = to_ms(gauge_.tolerance.response_to),
                 shortest = to_ms(gauge_.tolerance.response_from);
    const double least = to_ms(unit_.response);
    if (least > well_outside * longest + 1) return outside("the response");
    if (least < shortest || delay_ms(unit_, gauge_, pair_.surveyed) > longest) between("the response");
    if (unit_.filter > 0) {
      const double to_go = top_ - gauge_.rising_rpm(visible_.back());
      const double lag = to_ms(unit_.filter) * std::log((top_ - bottom_) / to_go);
      const bool late =
          pair_.surveyed ? to_ms(unit_.filter) > 2 * longest : least + lag > well_outside * longest + 1;
      late ? outside("the filter") : between("the filter");
    }
    if (unit_.dropped_share > 0) {
      const double interval_ms = 1e3 * interval_s(unit_, top_);
      const double updates = std::ceil((well_outside * longest - least) / interval_ms);
      const bool late = std::pow(unit_.dropped_share, updates) > 0.9;
      late && !pair_.surveyed ? outside("dropped updates") : between("dropped updates");
    }
  }

  void noise() {
    const double t = gauge_.tolerance.rpm, rate = slowest_rate(gauge_);
    if (unit_.noise_rpm > 0) {
      between("noise");
      const double from = well_outside * t + uncertainty_rpm(unit_, gauge_);
      const double to = t + 1 + rate * 1.1 * to_seconds(gauge_.tolerance.response_to);
      for (const std::size_t b : visible_) {
        const double spacing_rpm = rate * interval_s(unit_, gauge_.rising_rpm(b));
        double expected = 0;
        for (double off = from; off < to; off += spacing_rpm)
          expected += 0.5 * std::erfc(off / unit_.noise_rpm / std::sqrt(2.0));
        if (expected > surely && !pair_.surveyed) return outside("noise");
      }
    }
    // Does a timer tick, or what rounding makes of it, go to and fro over a boundary?
    for (std::size_t b = 1; b < real_.rising.size(); ++b) {
      if (!std::isfinite(real_.rising[b])) continue;
      const double tick = tick_rpm(unit_, real_.rising[b]);
      const double calm = std::max(0.25 * rate * interval_s(unit_, real_.rising[b]),
                                   0.5 * (real_.rising[b] - real_.falling[b]));
      if (tick > calm) return between("a restless reading");
    }
  }

  const Rest* rest_at(Nanos t) const {
    for (const Rest& rest : rests_)
      if (t >= rest.from && t < rest.until) return &rest;
    return nullptr;
  }

  void freezes() {
    for (const Spell& spell : unit_.frozen) {
      between("a freeze");
      const Rest* const kept = rest_at(spell.from);
      if (kept == nullptr) continue;
      for (const Rest& rest : rests_) {
        const Nanos both = std::min(rest.until, spell.to) - std::max(rest.from, spell.from);
        if (both > 200 * ns_per_ms &&
            !share_a_picture(gauge_.windows[kept->window].cue, gauge_.windows[rest.window].cue))
          outside("a freeze");
      }
    }
  }

  void dips() {
    const Nanos seen = std::max(4 * gauge_.tolerance.settle, 60 * ns_per_ms);
    for (const Reset& reset : unit_.resets) {
      between("a supply dip");
      const Spell spell{reset.at, reset.at + std::max<Nanos>(reset.boot.value_or(unit_.boot_from), 1)};
      const Rest* const rest = rest_at(spell.from);
      if (rest == nullptr || gauge_.windows[rest->window].cue.steady == 0) continue;
      if (std::min(rest->until, spell.to) - spell.from >= seen) outside("a supply dip");
    }
  }

  void loose_lamps() {
    for (const Intermittent& loose : unit_.intermittent) {
      between("a loose lamp");
      double lit_s = 0;
      for (const Rest& rest : rests_)
        if (gauge_.windows[rest.window].cue.steady & loose.channels)
          lit_s += to_seconds(rest.until - rest.from);
      const double times = lit_s / (60 / loose.per_min + to_seconds(loose.lasts));
      if (times > surely + 3 && loose.lasts > std::max(2 * gauge_.tolerance.settle, 50 * ns_per_ms))
        outside("a loose lamp");
    }
  }

  const MutationPair& pair_;
  const Gauge& gauge_;
  const UnitSettings& unit_;
  const Profile profile_;
  const std::vector<Rest> rests_;
  const double bottom_, top_;
  const Ladder set_, real_;
  std::vector<std::size_t> visible_;
  Told told_;
};

std::optional<UnitSettings> settings_with_faults(const MutationPair& pair) {
  try {
    UnitSettings unit = healthy_settings(pair.runs, pair.behaviour);
    for (const FaultSetting& fault : pair.behaviour.faults) apply_fault(fault, unit);
    return unit;
  } catch (const std::invalid_argument&) {
    return std::nullopt;
  }
}

}  // namespace

Told truth_of(const MutationPair& pair) {
  const auto unit = settings_with_faults(pair);
  if (!problems_of(pair.gauge).empty() || !unit || unit->gauge.windows.size() < 2)
    return {Truth::between, "no such pair"};
  return Oracle(pair, *unit).told();
}

double unit_uncertainty_rpm(const MutationPair& pair) {
  return uncertainty_rpm(healthy_settings(pair.gauge, pair.behaviour), pair.gauge);
}

double longest_delay_ms(const MutationPair& pair) {
  return delay_ms(healthy_settings(pair.gauge, pair.behaviour), pair.gauge, pair.surveyed);
}

}  // namespace tachproof

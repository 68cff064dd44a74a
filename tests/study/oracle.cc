#include "tests/study/oracle.h"

#include <algorithm>
#include <deque>

#include <fmt/format.h>

namespace tachproof::study {
namespace {

constexpr double step_s = 0.5e-3;
constexpr double visible_s = 0.1;

std::size_t samples(double s) {
  return static_cast<std::size_t>(std::max(0.0, std::ceil(s / step_s - 1e-9)));
}

// The extremes of the last values between two ages.
class Sliding {
 public:
  Sliding(std::size_t oldest, bool largest) : oldest_(oldest), largest_(largest) {}
  void add(std::size_t at, double value) {
    while (!kept_.empty() && (largest_ ? kept_.back().second <= value : kept_.back().second >= value))
      kept_.pop_back();
    kept_.emplace_back(at, value);
  }
  double at(std::size_t now) {  // among those added at now - oldest or later
    while (kept_.front().first + oldest_ < now) kept_.pop_front();
    return kept_.front().second;
  }

 private:
  std::size_t oldest_;
  bool largest_;
  std::deque<std::pair<std::size_t, double>> kept_;
};

}  // namespace

double resolution_rpm(const Unit& unit) {
  const double counts = unit.reading == Reading::counts ? 60 / (unit.pulses_per_rev * unit.gate_s) : 0;
  return unit.round_rpm + counts;
}

Oracle::Oracle(const Gauge& gauge, const Road& road, const std::vector<double>& odd,
               const std::vector<double>& clear, bool recording, double scripted_wander_rpm)
    : gauge_(gauge), recording_(recording), extra_rpm_(5 * scripted_wander_rpm) {
  const std::size_t n = samples(road.duration_s());
  rpm_.resize(n);
  for (std::size_t k = 0; k < n; ++k) rpm_[k] = road.rpm_at(static_cast<double>(k) * step_s);
  const auto mark = [&](const std::vector<double>& pulses, std::vector<bool>& open) {
    open.assign(n, false);
    for (const double at : pulses) {
      if (at < -1 || at > road.duration_s()) continue;
      const double period = 60 / (gauge_.pulses_per_rev * std::max(road.rpm_at(at), 1.0));
      const std::size_t from = samples(at - period),
                        until = samples(at + 4 * period + gauge_.to_s + gauge_.settle_s);
      for (std::size_t k = from; k < std::min(until, n); ++k) open[k] = true;
    }
  };
  mark(odd, open_);
  mark(clear, clear_);
  // What every sound unit does, disturbed or not.
  const std::size_t windows = gauge_.cues.size();
  up_.assign(windows, false);
  down_.assign(windows, false);
  stay_s_.assign(windows, 0);
  stay_at_.assign(windows, -1);
  const Family all = family(gauge_.t_rpm + extra_rpm_, gauge_.from_s, gauge_.to_s, nullptr);
  std::vector<int> side(windows, 0);
  std::size_t since = 0;
  for (std::size_t k = 0; k < n; ++k) {
    for (std::size_t b = 1; b < windows; ++b) {
      // The first pulses of a run are no crossing: the drive begins where it begins.
      if (!recording_ && k <= samples(gauge_.to_s)) continue;
      const int now = all.lowest[k] >= b ? 1 : all.highest[k] < b ? -1 : 0;
      if (now != 0 && side[b] != 0 && now != side[b]) (now > 0 ? up_ : down_)[b] = true;
      if (now != 0) side[b] = now;
    }
    const bool one = all.lowest[k] == all.highest[k];
    if (k == 0 || !one || all.lowest[k] != all.lowest[k - 1] || all.highest[k] != all.highest[k - 1])
      since = k;
    const double stay = static_cast<double>(k - since) * step_s;
    if (one && stay > stay_s_[all.lowest[k]]) {
      stay_s_[all.lowest[k]] = stay;
      stay_at_[all.lowest[k]] = static_cast<double>(k + since) / 2 * step_s;
    }
  }
}

Oracle::Family Oracle::family(double t_rpm, double from_s, double to_s, const std::vector<bool>* open) const {
  Family f;
  const std::size_t n = rpm_.size(), top = gauge_.boundaries();
  const std::size_t youngest = static_cast<std::size_t>(std::floor(from_s / step_s)),
                    oldest = samples(to_s) + 1;
  f.lowest.resize(n);
  f.highest.resize(n);
  const double before = recording_ ? rpm_.front() : 0;
  Sliding most(oldest, true), least(oldest, false);
  // The past, as far back as a response reaches.
  for (std::size_t k = 0; k < oldest + youngest; ++k) {
    most.add(k, before);
    least.add(k, before);
  }
  const std::size_t shift = oldest + youngest;
  std::size_t low = 0, high = recording_ ? top : 0;
  for (std::size_t k = 0; k < n; ++k) {
    const std::size_t newest = k + shift - youngest;
    if (k >= youngest) {
      most.add(newest, rpm_[k - youngest]);
      least.add(newest, rpm_[k - youngest]);
    }
    const double hi = most.at(k + shift) + t_rpm, lo = least.at(k + shift) - t_rpm;
    while (high < top && hi >= gauge_.rising[high + 1]) ++high;
    while (high > 0 && hi < gauge_.falling[high]) --high;
    while (low < top && lo >= gauge_.rising[low + 1]) ++low;
    while (low > 0 && lo < gauge_.falling[low]) --low;
    // An odd pulse may have made any rpm of it, and so may what was before a recording: but it is some
    // window's rpm.
    if (open && ((*open)[k] || (recording_ && k < oldest))) {
      low = 0;
      high = top;
    }
    f.lowest[k] = static_cast<unsigned char>(low);
    f.highest[k] = static_cast<unsigned char>(high);
  }
  return f;
}

std::vector<std::string> Oracle::by_settings(const Unit& unit) const {
  std::vector<std::string> why;
  const double ppr = gauge_.pulses_per_rev, limit = 1.05 * gauge_.t_rpm + resolution_rpm(unit);
  for (std::size_t b = 1; b <= gauge_.boundaries(); ++b)
    for (const bool up : {true, false}) {
      if (!crossed(b, up)) continue;
      const double nominal = up ? gauge_.rising[b] : gauge_.falling[b];
      const double off = unit.effective(b, up, ppr).middle() - nominal;
      const char* way = up ? "rising" : "falling";
      if (std::abs(off) > limit)
        why.push_back(fmt::format("boundary {} {} is {:+.2f} rpm off, {:.2f} T", b, way, off,
                                  std::abs(off) / gauge_.t_rpm));
      const double half_period = 30 / (ppr * nominal), least = unit.least_delay_s(nominal, up);
      if (least > 1.05 * gauge_.to_s + 1e-3 + half_period)
        why.push_back(fmt::format("response at boundary {} {} is {:.1f} ms at least", b, way, 1e3 * least));
      const double longest = unit.most_delay_s(nominal, up) + unit.latest_lamp_s();
      if (longest < 0.95 * gauge_.from_s - 1e-3)
        why.push_back(fmt::format("response at boundary {} {} is {:.1f} ms at most", b, way, 1e3 * longest));
    }
  for (std::size_t w = 0; w < gauge_.cues.size(); ++w) {
    const Cue& cue = gauge_.cues[w];
    const double periods = stay_s_[w] * gauge_.blink_hz;
    const Channels blinking = unit.blinks ? unit.cues[w].blinking & ~unit.stuck_lit & ~unit.stuck_dark : 0;
    if (blinking != cue.blinking && periods >= 1.5)
      why.push_back(fmt::format("window {} does not blink as it should", w));
    if (cue.blinking == 0 || !unit.blinks || periods < 2) continue;
    if (std::abs(unit.blink_hz - gauge_.blink_hz) > 1.05 * gauge_.blink_hz_within)
      why.push_back(fmt::format("window {} blinks at {:.3f} Hz", w, unit.blink_hz));
    if (std::abs(unit.blink_duty - gauge_.blink_duty) > 1.05 * gauge_.blink_duty_within)
      why.push_back(fmt::format("window {} blinks with duty {:.3f}", w, unit.blink_duty));
  }
  return why;
}

std::vector<std::string> Oracle::by_picture(const Shown& shown, const Family& wide) const {
  std::size_t next = 0;
  Channels lit = 0;
  double stretch = 0, stay = 0;
  for (std::size_t k = 0; k < rpm_.size(); ++k) {
    const double t = static_cast<double>(k) * step_s;
    while (next < shown.picture.size() && shown.picture[next].at_s <= t) lit = shown.picture[next++].lit;
    const bool same = k > 0 && wide.lowest[k] == wide.lowest[k - 1] && wide.highest[k] == wide.highest[k - 1];
    bool explained = false;
    for (std::size_t w = wide.lowest[k]; !explained && w <= wide.highest[k]; ++w)
      explained = looks_like(gauge_.cues[w], lit);
    stretch = explained ? 0 : stretch + step_s;
    if (!same) stay = 0;
    if (!explained) stay += step_s;
    if (std::max(stretch, stay) > visible_s)
      return {fmt::format(
          "at {:.2f} s, {:.0f} rpm, the lamps have shown what no window there looks like for 0.1 s", t,
          rpm_[k])};
  }
  return {};
}

bool Oracle::always_inside(const Unit& unit, const Shown& shown, const Family& narrow) const {
  for (const double late : {0.0, unit.latest_lamp_s()}) {
    std::size_t next = 0, window = 0;
    for (std::size_t k = 0; k < rpm_.size(); ++k) {
      const double t = static_cast<double>(k) * step_s - late;
      while (next < shown.windows.size() && shown.windows[next].at_s <= t)
        window = shown.windows[next++].window;
      // Between two samples it may have moved either way.
      const std::size_t a = k > 0 ? k - 1 : k, b = k + 1 < rpm_.size() ? k + 1 : k;
      const auto lowest = std::min({narrow.lowest[a], narrow.lowest[k], narrow.lowest[b]});
      const auto highest = std::max({narrow.highest[a], narrow.highest[k], narrow.highest[b]});
      if (!clear_[k] && (window < lowest || window > highest)) return false;
    }
  }
  return true;
}

// No move up unless the drive has just risen, or down unless it has fallen, by half the deadband at least:
// else it flickers.
bool Oracle::goes_with_the_drive(const Shown& shown) const {
  for (std::size_t i = 1; i < shown.windows.size(); ++i) {
    const std::size_t until = samples(shown.windows[i].at_s), back = samples(gauge_.to_s) + 2;
    if (until < back || until >= rpm_.size() || clear_[until]) continue;
    const double sign = shown.windows[i].window > shown.windows[i - 1].window ? 1 : -1;
    double lowest = sign * rpm_[until - back], most = 0;
    for (std::size_t k = until - back; k <= until; ++k) {
      lowest = std::min(lowest, sign * rpm_[k]);
      most = std::max(most, sign * rpm_[k] - lowest);
    }
    if (most <= std::min(0.5 * (gauge_.rising[1] - gauge_.falling[1]), 1.0)) {
      // A slow drive has moved by little within a response; it must have gone that way all the same.
      if (most <= 0 || sign * (rpm_[until] - rpm_[until - back]) < 0) return false;
    }
  }
  return true;
}

Told Oracle::tell(const Unit& unit, const Shown& shown, bool faulty) const {
  Told told;
  told.why = by_settings(unit);
  const Family wide = family(1.05 * gauge_.t_rpm + resolution_rpm(unit) + extra_rpm_,
                             std::max(0.0, 0.95 * gauge_.from_s - 1e-3), 1.05 * gauge_.to_s + 1e-3, &open_);
  for (std::string& one : by_picture(shown, wide)) told.why.push_back(std::move(one));
  if (!told.why.empty()) {
    told.truth = Truth::unsound;
    return told;
  }
  if (faulty) return told;
  const double ppr = gauge_.pulses_per_rev;
  for (std::size_t b = 1; b <= gauge_.boundaries(); ++b)
    for (const bool up : {true, false}) {
      const Unit::Threshold at = unit.effective(b, up, ppr);
      const double nominal = up ? gauge_.rising[b] : gauge_.falling[b];
      if (std::max(std::abs(at.from - nominal), std::abs(at.to - nominal)) > 0.95 * gauge_.t_rpm) return told;
    }
  if (std::abs(unit.blink_hz - gauge_.blink_hz) > 0.95 * gauge_.blink_hz_within ||
      std::abs(unit.blink_duty - gauge_.blink_duty) > 0.95 * gauge_.blink_duty_within)
    return told;
  const Family narrow =
      family(0.95 * gauge_.t_rpm + extra_rpm_, 1.05 * gauge_.from_s, 0.95 * gauge_.to_s, &clear_);
  if (always_inside(unit, shown, narrow) && goes_with_the_drive(shown)) told.truth = Truth::sound;
  return told;
}

}  // namespace tachproof::study

#include "core/cause/road.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <limits>
#include <optional>

#include "core/cause/shown.h"
#include "core/gauge/window_ladder.h"
#include "core/judge/dimming.h"

namespace tachproof {
namespace {

constexpr std::size_t most_samples = 16'000, most_at_once = 4;
constexpr Nanos least_step = 10 * ns_per_ms;
constexpr Nanos longest_half_period = ns_per_s;  // slower than that is no blink

std::vector<LampEvent> without_dimming(const std::vector<LampEvent>& raw, Channels wired) {
  DimmingFilter filter;
  std::vector<LampEvent> masked, events;
  masked.reserve(raw.size());
  for (const LampEvent& event : raw) masked.push_back({event.at, event.lit & wired});
  filter.add(masked, events);
  filter.finish(events);
  return events;
}

// Of segments that adjoin, asked in time order.
class Walk {
 public:
  explicit Walk(const std::vector<Segment>& segments) : segments_(segments) {}
  std::pair<double, double> rpm_and_slope(Nanos at) {
    if (segments_.empty() || at < segments_.front().start.whole) return {0, 0};
    while (next_ + 1 < segments_.size() && segments_[next_ + 1].start.whole <= at) ++next_;
    const Segment& s = segments_[next_];
    const double seconds = std::clamp(to_seconds(at - s.start.whole), 0.0, s.lasts_s);
    const bool over = to_seconds(at - s.start.whole) > s.lasts_s;
    return {s.rpm(seconds), over ? 0 : s.slope(seconds)};
  }

 private:
  const std::vector<Segment>& segments_;
  std::size_t next_ = 0;
};

bool within(const std::vector<std::pair<Nanos, Nanos>>& spans, Nanos at) {
  for (const auto& [from, to] : spans)
    if (from <= at && at < to) return true;
  return false;
}

}  // namespace

double Road::Shown::rested_s() const {
  double sum = 0;
  for (const auto& [lit, s] : pictures) sum += s;
  return sum;
}

Channels Road::Shown::usual() const {
  const auto most = std::max_element(pictures.begin(), pictures.end(),
                                     [](const auto& a, const auto& b) { return a.second < b.second; });
  return most == pictures.end() ? 0 : most->first;
}

Road::Road(const EvidenceLog& log, const Gauge& gauge, Nanos response, const std::vector<StateResult>& states,
           const View& view)
    : wired_(log.setup().wired & gauge.all_channels() & ~view.ignored),
      until_(log.until()),
      guard_(gauge.tolerance.response_to + gauge.tolerance.settle),
      response_(response),
      blink_hz_(gauge.blink ? gauge.blink->hz : 0),
      states_(states),
      lamps_(without_dimming(log.lamp_events(), wired_)) {
  step_ = view.every * std::max<Nanos>(least_step, until_ / static_cast<Nanos>(most_samples) + 1);
  Walk walk(view.believed != nullptr ? *view.believed : log.segments());
  // Of a run that was judged before states were kept, nothing after the first press is known.
  if (states_.empty() && log.first_done()) until_ = std::min(until_, *log.first_done());
  std::size_t event = 0, state = 0;
  const Nanos first = lamps_.empty() ? until_ : lamps_.front().at;
  samples_.reserve(static_cast<std::size_t>(until_ / step_) + 1);
  for (Nanos at = 0; at < until_; at += step_) {
    while (event + 1 < lamps_.size() && lamps_[event + 1].at <= at) ++event;
    const auto [rpm, slope] = walk.rpm_and_slope(at - response);
    while (state + 1 < states_.size() && at >= states_[state + 1].from) ++state;
    const bool answering = state > 0 && at < states_[state].judged_from;
    const bool unknown = answering || at < first || within(log.disturbances(), at) ||
                         (view.excused != nullptr && within(*view.excused, at));
    samples_.push_back({at, rpm, slope, lamps_.empty() ? 0 : lamps_[event].lit, unknown, state});
  }
}

std::vector<Gauge> Road::in_states(const Gauge& gauge) const {
  std::vector<Gauge> all;
  for (const StateResult& state : states_) all.push_back(in_state(gauge, state));
  if (all.empty()) all.push_back(gauge);
  return all;
}

std::vector<std::size_t> Road::windows(const Gauge& gauge) const {
  std::vector<std::size_t> all;
  all.reserve(samples_.size());
  std::vector<WindowLadder> states;
  for (const Gauge& state : in_states(gauge)) states.emplace_back(state);
  std::size_t window = 0;
  for (const Sample& sample : samples_) {
    window = states[sample.state].next(window, sample.rpm);
    all.push_back(window);
  }
  return all;
}

bool Road::right(const Gauge& gauge, std::size_t window, Channels lit) const {
  const Cue& cue = gauge.windows[window].cue;
  return (lit & ~cue.blinking) == (cue.steady & ~cue.blinking & wired_);
}

std::vector<Road::Shown> Road::shown(const Gauge& gauge) const {
  std::vector<Shown> all(gauge.windows.size());
  const std::vector<std::size_t> windows = this->windows(gauge);
  const double step_s = to_seconds(step_);
  for (std::size_t i = 0; i < samples_.size(); ++i) {
    if (samples_[i].disturbed) continue;
    auto& pictures = all[windows[i]].pictures;
    auto found = std::find_if(pictures.begin(), pictures.end(),
                              [&](const auto& one) { return one.first == samples_[i].lit; });
    if (found == pictures.end()) found = pictures.insert(found, {samples_[i].lit, 0.0});
    found->second += step_s;
  }
  watch_blinks(gauge, windows, all);
  return all;
}

// On, off and on again within one stay.
void Road::watch_blinks(const Gauge& gauge, const std::vector<std::size_t>& windows,
                        std::vector<Shown>& shown) const {
  if (blink_hz_ <= 0 || lamps_.empty()) return;
  std::size_t event = 0;
  for (std::size_t first = 0; first < windows.size();) {
    std::size_t end = first;
    while (end < windows.size() && windows[end] == windows[first]) ++end;
    const Nanos from = samples_[first].at + guard_,
                to = (end < windows.size() ? samples_[end].at : until_) - guard_;
    const bool calm = !samples_[first].disturbed && !samples_[end - 1].disturbed;
    if (calm && to_seconds(to - from) >= 2.2 / blink_hz_) {
      while (event + 1 < lamps_.size() && lamps_[event + 1].at <= from) ++event;
      std::array<int, max_channels> changes = {};
      for (std::size_t e = event; e + 1 < lamps_.size() && lamps_[e + 1].at < to; ++e)
        for (Channels left = lamps_[e].lit ^ lamps_[e + 1].lit; left != 0; left &= left - 1)
          ++changes[static_cast<std::size_t>(std::countr_zero(left))];
      Shown& window = shown[windows[first]];
      window.watched_s += to_seconds(to - from);
      for (std::size_t c = 0; c < gauge.channels(); ++c)
        if (changes[c] >= 3 && (to - from) / changes[c] < longest_half_period)
          window.blinked |= Channels{1} << c;
    }
    first = end;
  }
}

double Road::wrong_s(const std::vector<Shown>& shown, const Gauge& gauge) const {
  double sum = 0;
  for (std::size_t w = 0; w < shown.size() && w < gauge.windows.size(); ++w) {
    for (const auto& [lit, s] : shown[w].pictures)
      if (!right(gauge, w, lit)) sum += s;
    // Any picture of a blink would do: that it does not blink is wrong all the same.
    if (shown[w].watched_s > 0 && (gauge.windows[w].cue.blinking & wired_ & ~shown[w].blinked) != 0)
      sum += 0.5 * shown[w].watched_s;
  }
  return sum;
}

std::vector<double> Road::wrong_s_later(const Gauge& gauge, const std::vector<Nanos>& later,
                                        std::size_t every) const {
  const std::vector<std::size_t> windows = this->windows(gauge);
  std::vector<double> all;
  for (const Nanos delay : later) {
    const auto steps = static_cast<std::size_t>(delay / step_);
    std::size_t wrong = 0, seen = 0;
    for (std::size_t i = steps; i < samples_.size(); i += every) {
      if (samples_[i].disturbed) continue;
      ++seen;
      wrong += !right(gauge, windows[i - steps], samples_[i].lit);
    }
    // What came before the first answer is as wrong as the rest.
    const double share = seen > 0 ? static_cast<double>(wrong) / static_cast<double>(seen) : 1;
    all.push_back(share * to_seconds(until_));
  }
  return all;
}

std::vector<Road::Move> Road::moves(const Gauge& gauge) const {
  std::vector<Move> all;
  const std::vector<Gauge> states = in_states(gauge);
  for (std::size_t i = 1; i < samples_.size(); ++i) {
    const Sample &before = samples_[i - 1], &now = samples_[i];
    // As if no press had moved the boundary.
    const auto as_set = [&](double rpm, std::size_t b) {
      return rpm - states[now.state].windows[b].from_rpm + gauge.windows[b].from_rpm;
    };
    if (before.lit == now.lit || before.disturbed || now.disturbed || now.slope == 0) continue;
    const bool up = now.slope > 0;
    // A jump of the profile dates no threshold.
    if (std::abs(now.rpm - before.rpm) > 2 * std::abs(now.slope) * to_seconds(step_) + 1) continue;
    std::vector<bool> left(gauge.windows.size()), come(gauge.windows.size());
    for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
      left[w] = right(gauge, w, before.lit) && !right(gauge, w, now.lit);
      come[w] = right(gauge, w, now.lit);
    }
    for (std::size_t low = 0; low < gauge.windows.size(); ++low)
      for (std::size_t high = low + 1; high < std::min(gauge.windows.size(), low + 1 + most_at_once); ++high)
        if (up ? left[low] && come[high] : left[high] && come[low])
          for (std::size_t b = low + 1; b <= high; ++b)
            all.push_back({b, up ? Direction::rising : Direction::falling,
                           as_set((before.rpm + now.rpm) / 2, b), std::abs(now.slope), high == low + 1});
  }
  return all;
}

double Road::chatter_rpm(const Gauge& gauge) const {
  std::vector<double> spreads;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    double low = 0, high = 0;
    std::size_t changes = 0;
    for (std::size_t i = 1; i < samples_.size(); ++i) {
      const Sample &before = samples_[i - 1], &now = samples_[i];
      const bool slope = now.slope != 0 && (now.slope > 0) == (before.slope > 0) && !now.disturbed;
      if (slope && before.lit != now.lit) {
        const bool up = right(gauge, b - 1, before.lit) && right(gauge, b, now.lit);
        const bool down = right(gauge, b, before.lit) && right(gauge, b - 1, now.lit);
        if ((up || down) && std::abs(now.rpm - before.rpm) < 2) {
          low = changes == 0 ? now.rpm : std::min(low, now.rpm);
          high = changes == 0 ? now.rpm : std::max(high, now.rpm);
          ++changes;
        }
      }
      if (slope && i + 1 < samples_.size()) continue;
      if (changes >= 3) spreads.push_back(high - low);
      changes = 0;
    }
  }
  if (spreads.empty()) return 0;
  const auto middle = spreads.begin() + static_cast<std::ptrdiff_t>(spreads.size() / 2);
  std::nth_element(spreads.begin(), middle, spreads.end());
  return *middle;
}

std::vector<Road::Wrong> Road::wrong(const Gauge& gauge, Nanos least) const {
  std::vector<Wrong> all;
  const std::vector<std::size_t> windows = this->windows(gauge);
  std::optional<Wrong> open;
  const auto close = [&](Nanos at) {
    open->to = at;
    if (open->to - open->from >= least) all.push_back(*open);
    open.reset();
  };
  for (std::size_t i = 0; i < samples_.size(); ++i) {
    const Sample& s = samples_[i];
    if (s.disturbed || right(gauge, windows[i], s.lit)) {
      if (open) close(s.at);
      continue;
    }
    if (!open) open = Wrong{s.at, s.at, windows[i], false, s.lit, s.lit};
    open->changed |= s.lit != open->lit_at_from;
    open->ever_lit |= s.lit;
  }
  if (open) close(until_);
  return all;
}

Channels Road::ever_lit() const {
  Channels all = 0;
  for (const LampEvent& event : lamps_) all |= event.lit;
  return all;
}

namespace {

// Where the cue changes, and to what; boundaries between equal cues are none.
std::vector<std::pair<double, Cue>> ladder(const Gauge& given, bool rising) {
  const Gauge gauge = as_it_acts(given);
  std::vector<std::pair<double, Cue>> steps;
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    const double rpm = w == 0 ? 0 : rising ? gauge.rising_rpm(w) : gauge.falling_rpm(w);
    // Passed in no time this way.
    if (steps.size() > 1 && steps.back().first == rpm) steps.pop_back();
    if (!steps.empty() && steps.back().second == gauge.windows[w].cue) continue;
    steps.emplace_back(rpm, gauge.windows[w].cue);
  }
  return steps;
}

}  // namespace

bool same_behaviour(const Gauge& a, const Gauge& b, double within_rpm) {
  for (const bool rising : {true, false}) {
    const auto one = ladder(a, rising), other = ladder(b, rising);
    if (one.size() != other.size()) return false;
    for (std::size_t i = 0; i < one.size(); ++i)
      if (!(one[i].second == other[i].second) || std::abs(one[i].first - other[i].first) > within_rpm)
        return false;
  }
  const bool blinks =
      std::any_of(a.windows.begin(), a.windows.end(), [](const Window& w) { return w.cue.blinking != 0; });
  if (blinks && a.blink && b.blink &&
      (std::abs(a.blink->hz - b.blink->hz) > a.tolerance.blink_hz / 4 ||
       std::abs(a.blink->duty - b.blink->duty) > a.tolerance.blink_duty / 4))
    return false;
  return std::abs(a.tolerance.response_to - b.tolerance.response_to) <= 2 * ns_per_ms &&
         std::abs(a.tolerance.response_from - b.tolerance.response_from) <= 2 * ns_per_ms;
}

}  // namespace tachproof

#include "core/plan/survey_holds.h"
#include "core/base/rpm.h"
#include "core/base/statistics.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/judge/dimming.h"
#include "core/judge/settling.h"

namespace tachproof {
namespace {

constexpr int most_troubles = 3;
// A pass of more holds than these is divided in two: half as many, twice.
constexpr int most_holds = 6;
constexpr double furthest = 40;  // times the range that was looked at first

}  // namespace

Nanos lasting(std::span<const Step> steps) {
  Nanos all = 0;
  for (const Step& step : steps) {
    if (const auto* hold = std::get_if<Hold>(&step)) all += hold->lasts;
    if (const auto* ramp = std::get_if<RampByTime>(&step)) all += ramp->lasts;
  }
  return all;
}

std::vector<LampEvent> shown_lamps(std::span<const LampEvent> raw, Channels wired, Nanos settle) {
  DimmingFilter dimming;
  std::vector<LampEvent> undimmed, settled;
  dimming.add(raw, undimmed);
  dimming.finish(undimmed);
  Settling settling(settle);
  for (const LampEvent& event : undimmed) settling.add({event.at, event.lit & wired}, settled);
  settling.finish(settled);
  return settled;
}

bool blink_only(const WindowReading& reading, std::size_t boundary) {
  return !reading.look_alike(boundary - 1, boundary) && reading.alike_while_lit(boundary - 1, boundary);
}

HoldReading::HoldReading(const Gauge& gauge, Channels wired, std::size_t boundary)
    : reading_(gauge, wired), wired_(wired & gauge.all_channels()), boundary_(boundary) {
  const Tolerance& t = gauge.tolerance;
  const Blink blink = gauge.blink.value_or(Blink{4, 0.5});
  const double slowest_hz = std::max(blink.hz - t.blink_hz, blink.hz / 2);
  longest_lit_ = from_seconds(std::min(blink.duty + t.blink_duty, 1.0) / slowest_hz);
  longest_dark_ = from_seconds(std::min(1 - blink.duty + t.blink_duty, 1.0) / slowest_hz);
  settle_ = std::min(t.settle, from_seconds(blink.shorter_phase_s() / 4));
  settled_ = t.response_to + t.settle;
  spare_ = 2 * settle_ + 5 * ns_per_ms;
}

HoldReading::Side HoldReading::read(std::span<const LampEvent> lamps, Nanos step, Nanos until) const {
  const Nanos from = step + settled_;
  const bool below = explains(boundary_ - 1, lamps, from, until);
  const bool above = explains(boundary_, lamps, from, until);
  if (below == above) return below ? Side::either : Side::neither;
  return below ? Side::below : Side::above;
}

// Every picture is one of the window, and nothing that blinks stood still for
// longer than its blink allows.
bool HoldReading::explains(std::size_t window, std::span<const LampEvent> lamps, Nanos from,
                           Nanos until) const {
  auto event = std::upper_bound(lamps.begin(), lamps.end(), from,
                                [](Nanos t, const LampEvent& e) { return t < e.at; });
  if (event == lamps.begin() || from >= until) return true;  // nothing was seen, which contradicts nothing
  --event;
  const Channels blinking = reading_.blinking(window);
  std::vector<Nanos> since(max_channels, from);
  const auto stood_too_long = [&](Channels lit, Channels moved, Nanos at) {
    bool too_long = false;
    for (std::size_t c = 0; c < max_channels; ++c) {
      if (((blinking & moved) >> c & 1) == 0) continue;
      too_long = too_long || at - since[c] > ((lit >> c & 1) != 0 ? longest_lit_ : longest_dark_);
      since[c] = at;
    }
    return too_long;
  };
  for (Nanos at = from; at < until; ++event) {
    const bool last = event + 1 == lamps.end() || (event + 1)->at >= until;
    const Nanos next = last ? until : (event + 1)->at;
    // Lamps of one cue may move apart from each other.
    if (!reading_.shows(window, event->lit) && next - at > settle_) return false;
    if (stood_too_long(event->lit, last ? ~Channels{0} : event->lit ^ (event + 1)->lit, next)) return false;
    if (last) break;
    at = next;
  }
  return true;
}

ThresholdSearch::ThresholdSearch(Direction direction, double expected_rpm, double low_rpm, double high_rpm,
                                 double width_rpm)
    : sign_(direction == Direction::rising ? 1 : -1),
      expected_(expected_rpm),
      edge_low_(std::min(ahead(low_rpm), ahead(high_rpm))),
      edge_high_(std::max(ahead(low_rpm), ahead(high_rpm))),
      width_(width_rpm),
      old_(-infinite),
      new_(infinite) {}

bool ThresholdSearch::known() const { return new_ - old_ <= width_ * (1 + 1e-9) + 0.02; }

std::optional<ThresholdSearch::Bracket> ThresholdSearch::bracket() const {
  if (!std::isfinite(old_) || !std::isfinite(new_)) return std::nullopt;
  const double a = rpm_of(old_), b = rpm_of(new_);
  return Bracket{std::min(a, b), std::max(a, b)};
}

std::vector<double> ThresholdSearch::pass() const {
  std::vector<double> out;
  if (given_up_ || known()) return out;
  // From `from` to `to` in equal parts, the ends left out.
  const auto divide = [&](double from, double to, bool with_from, bool with_to) {
    int parts = std::max(1, static_cast<int>(std::ceil((to - from) / width_ - 1e-9)));
    if (parts > most_holds + 1) parts = std::clamp(static_cast<int>(std::sqrt(parts)) + 1, 4, most_holds + 1);
    for (int k = with_from ? 0 : 1; k < parts + (with_to ? 1 : 0); ++k)
      out.push_back(from + (to - from) * k / parts);
  };
  const bool from_known = std::isfinite(old_), to_known = std::isfinite(new_);
  if (from_known && to_known) {
    divide(old_, new_, false, false);
  } else if (!from_known && !to_known) {
    if (!asked_ && width_ < edge_high_ - edge_low_)
      out = {-width_ / 2, width_ / 2};
    else
      divide(edge_low_, edge_high_, true, true);
  } else if (from_known) {
    if (old_ < edge_high_ - 0.01)
      divide(old_, edge_high_, false, true);
    else
      for (const double times : {1.0, 3.0, 7.0}) out.push_back(old_ + times * (edge_high_ - edge_low_));
  } else {
    if (new_ > edge_low_ + 0.01)
      divide(edge_low_, new_, true, false);
    else
      for (const double times : {7.0, 3.0, 1.0}) out.push_back(new_ - times * (edge_high_ - edge_low_));
  }
  for (double& at : out) at = std::clamp(hundredths(rpm_of(at)), 1.0, Profile::max_rpm);
  return out;
}

void ThresholdSearch::seen(std::span<const double> rpm, std::span<const HoldReading::Side> sides) {
  using Side = HoldReading::Side;
  const Side old_side = sign_ > 0 ? Side::below : Side::above;
  const Side new_side = sign_ > 0 ? Side::above : Side::below;
  bool told = false;
  for (std::size_t i = 0; i < std::min(rpm.size(), sides.size()); ++i) {
    const double at = ahead(rpm[i]);
    if (sides[i] == old_side) {
      old_ = std::max(old_, at);
      told = true;
    } else if (sides[i] == new_side) {
      new_ = std::min(new_, at);
      told = true;
      break;
    }
  }
  asked_ = true;
  if (!told) ++troubles_;
  if (new_ <= old_) {
    // It changed earlier than it did before: noise. Both are asked again.
    ++troubles_;
    edge_low_ = std::min(edge_low_, new_ - width_);
    edge_high_ = std::max(edge_high_, old_ + width_);
    old_ = -infinite;
    new_ = infinite;
  }
  const double range = furthest * (edge_high_ - edge_low_);
  given_up_ = troubles_ >= most_troubles || (std::isfinite(old_) && old_ > range) ||
              (std::isfinite(new_) && new_ < -range);
}

}  // namespace tachproof

// The stairs of a survey: up past all boundaries and down again, with a hold just short of each threshold and
// one just beyond it.
//
// A unit that does as it is set changes during the second hold, which tells its threshold to half the
// distance of the two, whatever its response, in a third of the time that ramps take. It needs to be known
// how much of a jump is left in a reading (core/judge/jump_memory.h), and how the readings scatter: so one
// boundary, the pilot, is measured by ramps before. Boundaries that are elsewhere are passed in ramps
// afterwards.
#include <algorithm>
#include <cmath>

#include "core/base/rpm.h"
#include "core/plan/survey.h"
#include "core/plan/survey_times.h"

namespace tachproof {
namespace {

constexpr std::size_t fewest_boundaries = 4;
// In the first hold so much may be left of the jump to it.
constexpr double left_rpm = 0.1;
// Of the wanted uncertainty: less room between the holds is not worth it, and a unit is not as it is set
// where the pilot is further off.
constexpr double narrowest = 0.5, furthest_off = 1.5;
constexpr double turns_beyond = 10;  // tolerances
constexpr Nanos cue_shown = 60 * ns_per_ms;
constexpr double spare_u = 0.97, spare_s = 0.006;

}  // namespace

// Only after a jump can it be known what a unit remembers: the one from the blinking windows.
bool SurveyPlanner::takes_stairs() const {
  return !setup_.responses && !blinking_.empty() && measured_.size() >= fewest_boundaries && !narrow_.any();
}

// Quickly, then slowly.
void SurveyPlanner::pilot(const SurveyView& view, std::vector<Step>& out) {
  pilot_ = first_ == 1 ? 0 : 1;
  const std::size_t b = measured_[*pilot_];
  if (at_ == 2 || (at_ > 2 && !known_.memory.known())) look(view);
  if (at_ == 2 && !was_measured(b)) {  // a lamp may be dark
    pilot_.reset();
    if (!is_another(view)) return enter(Phase::fast);
    look_if_lost(view);
    return enter(Phase::slow);
  }
  if (at_ == 0)
    pair(b, fast_rate(b), out);
  else if (at_ + 1 < pilot_steps)
    pair(b, slow_rate(b), out);
  else
    show_cues(out);
  ++at_;
}

// The stairs are never inside a window for as long as it takes to be sure of its cue. So each is shown, but
// for those that the passes and the blinks have shown; meanwhile the passes of the pilot are seen.
void SurveyPlanner::show_cues(std::vector<Step>& out) {
  ask_above(0, out);
  const double sure = gauge_.tolerance.rpm + spare_rpm;
  const auto shown = [&](std::size_t window) {
    for (const std::size_t b : {measured_[first_], measured_[*pilot_]})
      if (window + 1 == b || window == b) return true;
    return std::find(blinking_.begin(), blinking_.end(), window) != blinking_.end();
  };
  Nanos lasts = 0;
  for (std::size_t w = 1; w < gauge_.boundaries(); ++w) {
    const double low = gauge_.rising_rpm(w) + sure, high = gauge_.falling_rpm(w + 1) - sure;
    if (shown(w) || high < low) continue;
    out.push_back(Hold{hundredths((low + high) / 2), tenths_ms(answer() + cue_shown)});
    lasts += answer() + cue_shown;
  }
  place_.rpm = ways(measured_.front(), slow_rate(measured_.front())).low();
  place_.high_rpm = 0;
  out.push_back(
      Hold{place_.rpm, tenths_ms(std::max(answer() + 5 * ns_per_ms, setup_.ahead + 20 * ns_per_ms - lasts))});
}

// Half the distance of the two holds; nothing where they would not do.
std::optional<double> SurveyPlanner::stair_rpm() const {
  if (!known_.memory.known() || !shown_.any || !std::isfinite(known_.scatter.rpm)) return std::nullopt;
  const std::size_t b = measured_[*pilot_];
  if (!known_well(b) || std::abs(needs_[b].shift_rpm) > furthest_off * setup_.within_rpm) return std::nullopt;
  const double wanted = spare_u * setup_.within_rpm, scatter = 2 * known_.scatter.rpm;
  if (scatter >= wanted) return std::nullopt;
  const double half = std::sqrt(wanted * wanted - scatter * scatter) / 0.95 - left_rpm / 2;
  return half >= narrowest * setup_.within_rpm ? std::optional(half) : std::nullopt;
}

void SurveyPlanner::stair(std::size_t boundary, Direction direction, double half_rpm,
                          std::vector<Step>& out) {
  const bool rising = direction == Direction::rising;
  const double middle = (rising ? gauge_.rising_rpm(boundary) : gauge_.falling_rpm(boundary)) +
                        needs_[measured_[*pilot_]].shift_rpm;
  const double half = rising ? half_rpm : -half_rpm;
  const double first = hundredths(middle - half), second = hundredths(middle + half);
  const double jump = std::max(std::abs(first - place_.rpm), left_rpm);
  const double longest_s = to_seconds(answer()) - shown_.from_s;
  const double waits_s =
      std::max(known_.memory.forgets_s(left_rpm / jump, pulse_s(boundary)), longest_s) + spare_s;
  out.push_back(Hold{first, tenths_ms(from_seconds(waits_s) + pause() / 4)});
  out.push_back(Hold{second, tenths_ms(from_seconds(stay_s() + spare_s))});
  place_.rpm = second;
}

std::vector<Step> SurveyPlanner::stairs() {
  std::vector<Step> out;
  const std::optional<double> half = stair_rpm();
  if (!half) return out;
  const auto each = [&](Direction direction, auto from, auto to) {
    for (; from != to; ++from)
      if (!pilots(*from)) stair(*from, direction, *half, out);
  };
  each(Direction::rising, measured_.begin(), measured_.end());
  // Far enough that a last threshold which is off by some tolerances is met too.
  const std::size_t last = measured_.back();
  double top = gauge_.rising_rpm(last) + turns_beyond * gauge_.tolerance.rpm + spare_rpm;
  if (last < gauge_.boundaries())
    top = std::min(top, gauge_.falling_rpm(last + 1) - gauge_.tolerance.rpm - spare_rpm);
  place_.rpm = hundredths(std::min(top, Profile::max_rpm));
  out.push_back(Hold{place_.rpm, tenths_ms(answer() + 5 * ns_per_ms)});
  each(Direction::falling, measured_.rbegin(), measured_.rend());
  place_.high_rpm = 0;
  return out;
}

// Those need no ramps any more.
void SurveyPlanner::take_climbed() {
  for (const std::size_t b : measured_)
    if (!pilots(b) && known_well(b)) needs_[b].climbed = true;
}

bool SurveyPlanner::all_climbed() const {
  return pilot_ && std::all_of(measured_.begin(), measured_.end(),
                               [this](std::size_t b) { return pilots(b) || needs_[b].climbed; });
}

}  // namespace tachproof

// The passes of a survey: past one boundary in a ramp, down and up.
#include <algorithm>
#include <cmath>
#include <limits>

#include "core/base/rpm.h"
#include "core/judge/visit.h"
#include "core/plan/survey.h"
#include "core/plan/survey_times.h"

namespace tachproof {
namespace {

// Of the unit's response, before it has shown any: updates every 10 ms
// (rectangular, GUM 4.3.7), and the wait for the next pulse.
constexpr double update_spread_s = 0.0029;
// One slow visit then scatters by this share of the wanted uncertainty.
constexpr double slow_share = 0.26;
// The further the two rates are apart, the better they tell response from threshold; where
// neighbours leave room, faster costs no time, for the lead is a time.
constexpr double least_fast_by_slow = 4, most_fast_by_slow = 8;
// Visits at one rate to one boundary tell scatter by themselves; all others share it.
constexpr int scatter_pairs = 4;
constexpr double slowest = 2, fastest = 3000;  // rpm per second
constexpr Nanos longest_pause = 20 * ns_per_ms;
// Other boundaries may answer later than those that were seen, and the same one does by an update.
constexpr double later_s = 0.010;
constexpr double on_ramp_s = 0.001;
// A threshold that was passed quickly both ways is known about so well.
constexpr double unsure_rpm = 1.5;
constexpr double least_lead_s = 0.01;
// Before it has shown a response: the lead, by the longest that is allowed. A slow filter needs it.
constexpr double unknown_by_allowed = 2.5;
// What is left of a jump after it, in the reading of a filter: of the wanted uncertainty, and as a delay.
constexpr double left_of_jump = 0.1, left_of_jump_s = 0.002;

}  // namespace

double SurveyPlanner::pulse_s(std::size_t boundary) const {
  return pulse_period_s(gauge_.pulses_per_rev, gauge_.falling_rpm(boundary));
}

double SurveyPlanner::slow_rate(std::size_t boundary) const {
  const double spread_s = std::hypot(update_spread_s, pulse_s(boundary) / std::sqrt(12.0));
  double rate = slow_share * setup_.within_rpm / spread_s;
  // A noisy unit crossed too slowly changes early (core/judge/scatter.h).
  const UnitScatter& seen = known_.scatter;
  if (seen.rpm > 0.1 && seen.ms > 0) rate = std::max(rate, 0.7 * seen.rpm / (seen.ms * 1e-3));
  return std::clamp(rate, slowest, fastest / least_fast_by_slow);
}

double SurveyPlanner::fast_rate(std::size_t boundary) const {
  double room = std::numeric_limits<double>::infinity();
  if (boundary > 1) room = gauge_.rising_rpm(boundary) - gauge_.rising_rpm(boundary - 1);
  if (boundary < gauge_.boundaries())
    room = std::min(room, gauge_.falling_rpm(boundary + 1) - gauge_.falling_rpm(boundary));
  const double slow = slow_rate(boundary);
  const double lead = std::max(lead_s(boundary, least_fast_by_slow * slow), least_lead_s);
  return std::clamp((room - 2 * (gauge_.tolerance.rpm + spare_rpm)) / lead, least_fast_by_slow * slow,
                    std::min(most_fast_by_slow * slow, fastest));
}

// So long the profile has kept its rate before a threshold: for every response that is allowed, and until a
// filter follows the new rate; or else, where the unit has shown it, until a jump is forgotten. Of that a
// response that the unit has shown is part already.
double SurveyPlanner::lead_s(std::size_t boundary, double rate) const {
  const double allowed = to_seconds(gauge_.tolerance.response_to);
  if (!shown_.any) return unknown_by_allowed * allowed;
  const double bends = 2 * rate * shown_.filter_s;
  const double any_unit = std::max(1.1 * allowed + 0.01, forgets_s(boundary, bends, rate)) - shown_.from_s;
  if (!known_.memory.known() || needs_[boundary].wary) return any_unit;
  // Up to the threshold there is more room, once it is known where that is.
  const double room = needs_[boundary].seen_quickly ? gauge_.tolerance.rpm + spare_rpm - unsure_rpm : 0;
  const double this_unit = std::max(known_.memory.needs_s(pulse_s(boundary)) + allowed / 20,
                                    forgets_s(boundary, gauge_.deadband.rpm + rate * stay_s(), rate)) -
                           shown_.from_s - std::max(0.0, room) / rate;
  return std::clamp(this_unit, 0.0, any_unit);
}

// So long it goes on behind, for the unit to show it.
double SurveyPlanner::stay_s() const {
  const double longest = shown_.any ? shown_.to_s : to_seconds(gauge_.tolerance.response_to);
  return longest + to_seconds(gauge_.tolerance.settle) / 2;
}

// Far enough on both sides that the settings demand the change each way; with the lead before, and for
// as long behind as this unit needs to show it.
SurveyPlanner::Ways SurveyPlanner::ways(std::size_t boundary, double rate) const {
  const Need& need = needs_[boundary];
  const double lead = rate * lead_s(boundary, rate), stay = rate * stay_s();
  const double margin =
      gauge_.tolerance.rpm * need.widen + spare_rpm + 4 * setup_.within_rpm * (need.widen - 1);
  const double rise = gauge_.rising_rpm(boundary), fall = gauge_.falling_rpm(boundary);
  const double up = std::max(0.0, need.most_rpm), down = std::min(0.0, need.least_rpm);
  const double down_from = fall + up + margin + lead;
  const double down_to = fall + down - margin - stay;
  const double up_from = rise + down - margin - lead;
  const double up_to = rise + up + margin + stay;
  const double lowest = 0.4 * fall;
  return {hundredths(std::min(down_from, Profile::max_rpm)), hundredths(std::max(down_to, lowest)),
          hundredths(std::max(up_from, lowest)), hundredths(std::min(up_to, Profile::max_rpm))};
}

bool SurveyPlanner::tells_delay(double rate) const {
  return tells_response(rate, to_seconds(gauge_.tolerance.response_to), gauge_.tolerance.rpm);
}

// How much later than a threshold was met the lamps changed, on every quick ramp so far. A boundary that is
// not where it is set makes that longer one way and shorter the other, so that both together tell the
// response; and of that no more is a filter's than at the boundary where it was least, the rest is waiting.
void SurveyPlanner::take_delays() {
  double least = std::numeric_limits<double>::infinity(), most = 0, filter = least;
  for (const std::size_t b : measured_) {
    double sum[2] = {0, 0};
    int n[2] = {0, 0};
    for (const TransitionResult& row : known_.transitions) {
      if (row.boundary != gauge_.windows[b].name || !row.seen || row.step || row.rate_rpm_per_s == 0)
        continue;
      if (!tells_delay(std::abs(row.rate_rpm_per_s))) continue;
      const double delay_s = to_seconds(row.at - row.nominal + gauge_.tolerance.response_from);
      least = std::min(least, delay_s);
      most = std::max(most, delay_s);
      // After the ramp's end it is no visit.
      if (std::abs(delay_s - row.deviation_rpm / row.rate_rpm_per_s) > on_ramp_s) continue;
      sum[row.rate_rpm_per_s < 0] += delay_s;
      ++n[row.rate_rpm_per_s < 0];
    }
    needs_[b].seen_quickly = n[0] > 0 && n[1] > 0;
    if (needs_[b].seen_quickly) filter = std::min(filter, (sum[0] / n[0] + sum[1] / n[1]) / 2);
  }
  if (most <= 0 || !std::isfinite(filter)) return;
  const auto within = [&](double s) { return std::clamp(s, 0.0, to_seconds(gauge_.tolerance.response_to)); };
  shown_ = {within(least - later_s), within(filter), within(most + later_s), true};
}

// A filter forgets a jump as exp(-t / response) does; what is left at the threshold would be taken for
// another one. 0 before anything was shown.
double SurveyPlanner::forgets_s(std::size_t boundary, double jump_rpm, double rate) const {
  if (!shown_.any) return 0;
  const double left = std::max(left_of_jump * setup_.within_rpm, left_of_jump_s * rate);
  const double share = left / std::max(std::abs(jump_rpm), left);
  const double filter_s = -shown_.filter_s * std::log(share);
  if (!known_.memory.known()) return filter_s;
  return std::min(filter_s, known_.memory.forgets_s(share, pulse_s(boundary)));
}

// The golden ratio's multiples are spread evenly however many there are.
Nanos SurveyPlanner::pause() {
  constexpr double golden = 0.6180339887498949;
  const double part = golden * static_cast<double>(++place_.pauses);
  return tenths_ms(static_cast<Nanos>((part - std::floor(part)) * static_cast<double>(longest_pause)));
}

// Low down there is no room for a fast ramp, nor past narrow windows.
double SurveyPlanner::passing_rate(std::size_t boundary, double rate) const {
  rate = std::min(rate, 0.3 * gauge_.falling_rpm(boundary) / std::max(lead_s(boundary, rate), least_lead_s));
  const Ways near = ways(boundary, rate);
  return narrow_.unhurried(rate, near.low(), near.high());
}

// The boundary that is passed first tells the response, so it should be one that can be passed quickly.
std::size_t SurveyPlanner::first() const {
  const auto quick = std::find_if(measured_.begin(), measured_.end(), [this](std::size_t b) {
    return tells_delay(passing_rate(b, fast_rate(b)));
  });
  return static_cast<std::size_t>(quick == measured_.end() ? 0 : quick - measured_.begin());
}

// Down first: what follows lies higher, so the way up is never cut short. The way down is asked of the unit
// only once it had to be above, and the way up once it had to be below. Where it need not be led in for so
// long, a way begins inside the deadband, with a jump.
void SurveyPlanner::pair(std::size_t boundary, double rate, std::vector<Step>& out) {
  rate = passing_rate(boundary, rate);
  const Ways w = ways(boundary, rate);
  // A window that a way ends in is shown as long as one that it passes.
  const Nanos shown = narrow_.unhurried(fastest, w.low(), w.high()) < fastest ? NarrowWindows::shown : 0;
  const auto lasts = [&](double low, double high) { return tenths_ms(from_seconds((high - low) / rate)); };
  const double rise = gauge_.rising_rpm(boundary), fall = gauge_.falling_rpm(boundary);
  const double shift = needs_[boundary].shift_rpm, off = gauge_.tolerance.rpm;
  const double above = rise + std::max(0.0, needs_[boundary].most_rpm) + off;
  const double below = fall + std::min(0.0, needs_[boundary].least_rpm) - off;
  const double asked_s = to_seconds(answer());
  const auto wait = [&](double s) { return tenths_ms(from_seconds(std::max(0.0, s)) + pause() + shown); };
  const auto within = [&](double first, double last) { return std::max(0.0, (last - first) / rate); };

  const double high = w.high();
  const bool been_above = place_.boundary == boundary && place_.high_rpm >= above;
  if (!been_above) ask_above(high, out);
  const double was_above_s = been_above ? place_.above_for_s : 0;
  const double forgets = forgets_s(boundary, high - place_.rpm, rate) - (w.down_from - (fall + shift)) / rate;
  out.push_back(Hold{high, wait(std::max(asked_s - was_above_s - within(above, w.down_from), forgets))});
  if (w.down_from < high) out.push_back(Hold{w.down_from, tenths_ms(0)});
  out.push_back(RampByTime{w.down_to, lasts(w.down_to, w.down_from)});
  out.push_back(Hold{w.low(), wait(asked_s - within(w.down_to, below) - within(w.up_from, below))});
  if (w.low() < w.up_from) out.push_back(Hold{w.up_from, tenths_ms(0)});
  out.push_back(RampByTime{w.up_to, lasts(w.up_from, w.up_to)});
  place_.boundary = boundary;
  place_.high_rpm = place_.rpm = w.up_to;
  place_.above_rpm = above;
  place_.above_for_s = within(above, w.up_to);
}

// The last way up counts only once the unit had to be above: before `next_rpm`, where that is lower.
void SurveyPlanner::ask_above(double next_rpm, std::vector<Step>& out) {
  if (place_.high_rpm > 0 && next_rpm < place_.above_rpm)
    out.push_back(Hold{place_.high_rpm, tenths_ms(answer() - from_seconds(place_.above_for_s))});
}

void SurveyPlanner::slow_pairs(std::size_t measured, std::vector<Step>& out) {
  const std::size_t b = measured_[measured];
  int pairs = !pilot_ && measured == measured_.size() / 2 ? scatter_pairs : 1;
  for (; pairs > 0; --pairs) pair(b, slow_rate(b), out);
}

}  // namespace tachproof

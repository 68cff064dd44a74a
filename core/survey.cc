#include "core/survey.h"

#include <algorithm>
#include <cmath>

#include "core/window_reading.h"

namespace tachproof {
namespace {

// Of the unit's response, before it has shown any: updates every 10 ms
// (rectangular, GUM 4.3.7), and the wait for the next pulse.
constexpr double update_spread_s = 0.0029;
// One slow visit then scatters by this share of the wanted uncertainty.
constexpr double slow_share = 0.2;
constexpr double fast_by_slow = 5;
constexpr double slowest = 2, fastest = 3000;  // rpm per second
constexpr int blink_cycles = 4;
constexpr int most_rounds = 12;
constexpr int most_pairs_a_round = 6;
constexpr double most_visits = 60;  // of one boundary one way; beyond, the unit makes it impossible
constexpr Nanos longest_pause = 20 * ns_per_ms;
constexpr Nanos unit_wakes = 500 * ns_per_ms;

double rounded(double rpm) { return std::round(rpm * 100) / 100; }
Nanos rounded(Nanos t) { return std::max<Nanos>((t + 50'000) / 100'000 * 100'000, 100'000); }

}  // namespace

JudgeWhat survey_asks(double within_rpm) {
  JudgeWhat what;
  what.thresholds = true;
  what.within_rpm = within_rpm;
  return what;
}

RunResult judge_survey(const Gauge& gauge, const JudgeSetup& setup, const SurveyView& view, bool complete) {
  const Profile profile(view.steps);
  Judge judge(gauge, setup);
  for (const Segment& segment : profile.segments()) judge.rpm(segment);
  judge.lamps(view.events);
  return judge.finish(std::min(view.seen_until, profile.duration()), complete);
}

SurveyPlanner::SurveyPlanner(const Gauge& gauge, const SurveySetup& setup) : gauge_(gauge), setup_(setup) {
  setup_.judge.what = survey_asks(setup.within_rpm);
  const WindowReading reading(gauge_, setup_.judge.wired);
  for (std::size_t b = 1; b <= gauge_.boundaries(); ++b) {
    const bool hidden = reading.look_alike(b - 1, b) || reading.alike_while_lit(b - 1, b);
    (hidden ? unmeasurable_ : measured_).push_back(b);
  }
  for (std::size_t w = 0; w < gauge_.windows.size(); ++w)
    if (reading.blinking(w) != 0) blinking_.push_back(w);
  needs_.resize(gauge_.windows.size());
}

double SurveyPlanner::slow_rate(std::size_t boundary) const {
  const double pulse_s = 60 / (gauge_.pulses_per_rev * std::max(gauge_.falling_rpm(boundary), 1.0));
  const double spread_s = std::hypot(update_spread_s, pulse_s / std::sqrt(12.0));
  double rate = slow_share * setup_.within_rpm / spread_s;
  // A noisy unit crossed too slowly changes early (core/scatter.h).
  const UnitScatter& seen = known_.scatter;
  if (seen.rpm > 0.1 && seen.ms > 0) rate = std::max(rate, 0.7 * seen.rpm / (seen.ms * 1e-3));
  return std::clamp(rate, slowest, fastest / fast_by_slow);
}

double SurveyPlanner::fast_rate(std::size_t boundary) const {
  return std::clamp(fast_by_slow * slow_rate(boundary), slowest, fastest);
}

// Far enough on both sides that the settings demand the change each way, and
// that the profile keeps its rate for every response that is allowed.
SurveyPlanner::Zone SurveyPlanner::zone(std::size_t boundary, double rate) const {
  const Need& need = needs_[boundary];
  const double response_s = to_seconds(gauge_.tolerance.response_to);
  const double lead_s = 1.1 * response_s + 0.01;
  const double stay_s = 0.55 * response_s + to_seconds(gauge_.tolerance.settle) / 2;
  const double margin = gauge_.tolerance.rpm * need.widen + 1 + 4 * setup_.within_rpm * (need.widen - 1);
  const double rise = gauge_.rising_rpm(boundary), fall = gauge_.falling_rpm(boundary);
  const double up = std::max(0.0, need.shift_rpm), down = std::min(0.0, need.shift_rpm);
  const double low = std::min(rise + down - margin - rate * lead_s, fall + down - margin - rate * stay_s);
  const double high = std::max(fall + up + margin + rate * lead_s, rise + up + margin + rate * stay_s);
  return {rounded(std::max(low, 0.4 * fall)), rounded(std::min(high, Profile::max_rpm))};
}

// The golden ratio's multiples are spread evenly however many there are.
Nanos SurveyPlanner::pause() {
  constexpr double golden = 0.6180339887498949;
  const double part = golden * static_cast<double>(++pauses_);
  return rounded(static_cast<Nanos>((part - std::floor(part)) * static_cast<double>(longest_pause)));
}

void SurveyPlanner::pair(std::size_t boundary, double rate, std::vector<Step>& out) {
  // Low down there is no room for a fast ramp.
  const double lead_s = 1.1 * to_seconds(gauge_.tolerance.response_to) + 0.01;
  rate = std::min(rate, 0.3 * gauge_.falling_rpm(boundary) / lead_s);
  const Zone z = zone(boundary, rate);
  const Nanos lasts = rounded(from_seconds((z.high - z.low) / rate));
  // Down first: what follows lies higher, so the way up is never cut short. The
  // way down is asked of the unit only once it had to be above.
  const double above =
      gauge_.rising_rpm(boundary) + std::max(0.0, needs_[boundary].shift_rpm) + gauge_.tolerance.rpm;
  const double wait_s =
      to_seconds(gauge_.tolerance.response_to + gauge_.tolerance.settle) - (z.high - above) / rate;
  const Nanos wait = from_seconds(std::max(0.0, wait_s));
  last_high_ = z.high;
  out.insert(out.end(), {Hold{z.high, rounded(wait + pause())}, RampByTime{z.low, lasts},
                         Hold{z.low, pause()}, RampByTime{z.high, lasts}});
}

std::vector<Step> SurveyPlanner::dwell(std::size_t window) {
  const double hz = std::max(gauge_.blink->hz - gauge_.tolerance.blink_hz, 0.1);
  const double from = gauge_.windows[window].from_rpm;
  const bool last = window == gauge_.boundaries();
  const double middle = last ? from + std::max(50.0, 4 * gauge_.deadband.rpm)
                             : (from + gauge_.windows[window + 1].from_rpm) / 2;
  return {Hold{rounded(std::min(middle, Profile::max_rpm)),
               rounded(from_seconds((blink_cycles + 0.5) / hz) + gauge_.tolerance.response_to)}};
}

std::vector<Step> SurveyPlanner::rest() {
  const double low = measured_.empty() ? 1000 : zone(measured_.front(), slow_rate(measured_.front())).low;
  // The last way up counts only once the unit had to be above.
  const Nanos above = gauge_.tolerance.response_to + gauge_.tolerance.settle;
  return {Hold{last_high_, rounded(above)}, Hold{low, rounded(setup_.ahead + above + 20 * ns_per_ms)}};
}

void SurveyPlanner::look(const SurveyView& view) {
  known_ = judge_survey(gauge_, setup_.judge, view, true);
  for (const std::size_t b : measured_) {
    double sum = 0;
    int ways = 0;
    for (const BoundaryResult& row : known_.boundaries)
      if (row.boundary == gauge_.windows[b].name && row.visits > 0) {
        sum += row.threshold_rpm - row.nominal_rpm;
        ++ways;
      }
    if (ways == 2) needs_[b].shift_rpm = sum / 2;
  }
}

void SurveyPlanner::plan_again() {
  again_.clear();
  for (const std::size_t b : measured_) {
    Need& need = needs_[b];
    if (need.given_up) continue;
    double worst_u = 0, response_s = 0;
    int fewest = 1'000'000, rows = 0;
    for (const BoundaryResult& row : known_.boundaries) {
      if (row.boundary != gauge_.windows[b].name) continue;
      ++rows;
      fewest = std::min(fewest, row.visits);
      if (row.visits == 0) continue;
      worst_u = std::max(worst_u, row.expanded_uncertainty_rpm);
      response_s = std::max(response_s, row.response_uncertainty_ms * 1e-3);
    }
    const double slow = slow_rate(b), fast = fast_rate(b);
    if (rows < 2 || fewest == 0) {
      // Not where it was looked for: look wider, and fast.
      need.widen *= 4;
      again_.push_back({b, fast});
      again_.push_back({b, slow});
      if (need.widen > 300) need.given_up = true;
      continue;
    }
    const double times = worst_u / setup_.within_rpm;
    if (times <= 1) continue;
    const double visits_needed = fewest * times * times;
    if (rounds_ > 2 && visits_needed > most_visits) {
      need.given_up = true;
      continue;
    }
    const bool by_response = slow * response_s > 0.6 * worst_u;
    const int pairs = std::clamp(static_cast<int>(std::ceil((visits_needed - fewest) / 2)), 1,
                                 rounds_ == 0 ? 2 : most_pairs_a_round);
    for (int i = 0; i < pairs; ++i) again_.push_back({b, by_response && i % 2 == 0 ? fast : slow});
  }
  ++rounds_;
}

std::vector<Step> SurveyPlanner::next(const SurveyView& view) {
  std::vector<Step> out;
  while (out.empty() && phase_ != Phase::over) {
    switch (phase_) {
      case Phase::start:
        if (measured_.empty()) {
          phase_ = Phase::over;
          break;
        }
        out = {Hold{zone(measured_.front(), slow_rate(measured_.front())).low, unit_wakes}};
        phase_ = Phase::fast;
        break;
      case Phase::fast:
        if (at_ < measured_.size()) {
          pair(measured_[at_], fast_rate(measured_[at_]), out);
          ++at_;
        } else {
          phase_ = Phase::blinks;
          at_ = 0;
        }
        break;
      case Phase::blinks:
        if (at_ < blinking_.size()) {
          out = dwell(blinking_[at_++]);
        } else {
          look(view);
          // A unit that shows nothing at all is off, or not seen.
          phase_ = view.events.size() < 2 ? Phase::over : Phase::slow;
          at_ = 0;
        }
        break;
      case Phase::slow:
        if (at_ < measured_.size()) {
          pair(measured_[at_], slow_rate(measured_[at_]), out);
          ++at_;
        } else {
          out = rest();
          phase_ = Phase::rest;
        }
        break;
      case Phase::rest:
        look(view);
        plan_again();
        at_ = 0;
        phase_ = again_.empty() || rounds_ > most_rounds || view.seen_until > setup_.longest ? Phase::over
                                                                                             : Phase::again;
        break;
      case Phase::again:
        if (at_ < again_.size()) {
          pair(again_[at_].boundary, again_[at_].rate, out);
          ++at_;
        } else {
          out = rest();
          phase_ = Phase::rest;
        }
        break;
      case Phase::over: break;
    }
  }
  return out;
}

}  // namespace tachproof

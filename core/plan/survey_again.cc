// What a survey plays again, once it has seen how well each boundary is known.
#include <algorithm>
#include <cmath>

#include "core/plan/survey.h"

namespace tachproof {
namespace {

constexpr int most_pairs_a_round = 6;
// Of one boundary one way; beyond, the unit makes it impossible, unless it is nearly there.
constexpr double enough_visits = 120, nearly = 1.5;
// Of what is missing: with more visits the unit's scatter is known better as well.
constexpr double share_a_round = 0.7;
// One that is within the wanted uncertainty of a limit gets so many, where they would tell the side.
constexpr double most_visits_for_a_verdict = 5;
// A boundary that is not where it is set is looked for so many tolerances away; to the end, further.
constexpr double widest_look = 16, widest_of_all = 300;
constexpr int most_slow_again = 3, most_quick_again = 2;

}  // namespace

void SurveyPlanner::plan_again() {
  again_.clear();
  for (std::size_t i = 0; i < held_.size(); ++i)
    if (!held_[i].rising.pass().empty() || !held_[i].falling.pass().empty()) again_.push_back({i, 0});
  for (const std::size_t b : measured_)
    if (!needs_[b].given_up) plan_again(b);
  ++rounds_;
}

// By how much U is too large to tell on which side of a limit a threshold is; 0 where a few visits more would
// not tell either.
double SurveyPlanner::short_of_a_verdict(const BoundaryResult& row) const {
  if (row.verdict != Verdict::undecided) return 0;
  const double from_limit = std::abs(std::abs(row.threshold_rpm - row.nominal_rpm) - gauge_.tolerance.rpm);
  const double times = row.expanded_uncertainty_rpm / std::max(from_limit, 1e-9);
  return times * times * row.visits <= most_visits_for_a_verdict ? times : 0;
}

void SurveyPlanner::plan_again(std::size_t b) {
  Need& need = needs_[b];
  double worst_u = 0, response_s = 0, times = 0;  // by how much U is too large
  bool measured = true;
  int fewest = 1'000'000, rows = 0;
  for (const BoundaryResult& row : known_.boundaries) {
    if (row.boundary != gauge_.windows[b].name) continue;
    ++rows;
    fewest = std::min(fewest, row.visits);
    if (row.visits == 0) continue;
    measured = measured && std::isfinite(row.expanded_uncertainty_rpm);
    worst_u = std::max(worst_u, row.expanded_uncertainty_rpm);
    times = std::max({times, row.expanded_uncertainty_rpm / setup_.within_rpm, short_of_a_verdict(row)});
    response_s = std::max(response_s, row.response_uncertainty_ms * 1e-3);
  }
  const double slow = slow_rate(b), fast = fast_rate(b);
  if (stops_because_ && (rows < 2 || fewest == 0 || !measured)) {
    need.given_up = true;
    return;
  }
  if (rows < 2 || fewest == 0) {
    // Not where it was looked for: look wider, and fast; slowly once it has been seen.
    need.widen *= 4;
    need.given_up = need.widen > (setup_.to_the_end ? widest_of_all : widest_look);
    if (!need.given_up || setup_.to_the_end) again_.push_back({b, fast});
    return;
  }
  if (!measured) {
    // Seen, but only quickly, or where a ramp ended: a longer one, and a second rate, tell the threshold.
    need.widen = std::min(4 * need.widen, widest_look);
    again_.push_back({b, fast});
    again_.push_back({b, slow});
    need.given_up = ++need.slow_again > most_slow_again;
    return;
  }
  if (need.climbed && times <= 1) return;
  // What others tell of the response is no word on this one, which may have a slow lamp.
  if (!need.seen_quickly && tells_delay(passing_rate(b, fast)) && need.quick_again++ < most_quick_again)
    again_.push_back({b, fast});
  if (times <= 1) return;
  if (fewest == need.visits) need.wary = true;
  need.visits = fewest;
  const double needed = fewest * times * times;
  if (rounds_ > 2 && needed > std::max(enough_visits, nearly * fewest)) {
    need.given_up = true;
    return;
  }
  const bool by_response = slow * response_s > 0.6 * worst_u;
  // A pair is one visit each way.
  const int pairs = std::clamp(static_cast<int>(std::ceil(share_a_round * (needed - fewest))), 1,
                               rounds_ == 0 ? 2 : most_pairs_a_round);
  for (int i = 0; i < pairs; ++i) again_.push_back({b, by_response && i % 2 == 0 ? fast : slow});
}

}  // namespace tachproof

// What a survey does with a unit that is not all there.
#include <cmath>

#include "core/base/text.h"
#include "core/plan/survey.h"
#include "core/plan/survey_lost.h"

namespace tachproof {
namespace {

// Of the time that a sound unit takes: then no new round begins for one that is not all there.
constexpr double enough_by_sound = 1.25;
// What a survey with stairs takes of the time of one that passes all boundaries in ramps.
constexpr double stairs_by_ramps = 0.68;
// Boundaries at which nothing changed, of all, from which the unit is not the one of the settings.
constexpr std::size_t lost_from = 2, lost_share = 3;
// Shares of what could be told that were as the settings demand: above the one the
// unit is theirs, below the other it is not.
constexpr double most_like = 0.95, least_like = 0.5;

}  // namespace

bool SurveyPlanner::was_seen(std::size_t boundary) const {
  int ways = 0;
  for (const BoundaryResult& row : known_.boundaries)
    ways += row.boundary == gauge_.windows[boundary].name && row.visits > 0 ? 1 : 0;
  return ways == 2;
}

bool SurveyPlanner::was_measured(std::size_t boundary) const {
  int ways = 0;
  for (const BoundaryResult& row : known_.boundaries)
    ways += row.boundary == gauge_.windows[boundary].name && std::isfinite(row.threshold_rpm) ? 1 : 0;
  return ways == 2;
}

// After the quick passes. Where the lamps did not change, there is nothing that a
// slow pass could measure, and wider ones would go on for minutes.
void SurveyPlanner::look_if_lost(const SurveyView& view) {
  enough_ = static_cast<Nanos>(enough_by_sound * (takes_stairs() ? stairs_by_ramps : 1) *
                               static_cast<double>(sound_lasts(view)));
  std::vector<std::size_t> missing;
  for (const std::size_t b : measured_)
    if (!was_seen(b)) missing.push_back(b);
  if (setup_.to_the_end) return;
  const auto [as_set, why] = likeness_of(gauge_, setup_.judge.wired, view);
  if (missing.empty() && as_set > most_like) return;
  lost_ = missing.size() >= lost_from && missing.size() * lost_share >= measured_.size();
  lost_ = lost_ || as_set < least_like;
  if (!why && !lost_) return;
  if (why && why->why != LostUnit::Why::pulses_per_rev) lost_ = false;
  // With other pulses per revolution, what changed there was another boundary.
  const bool all = (why && why->why == LostUnit::Why::pulses_per_rev) || (!why && as_set < least_like);
  for (const std::size_t b : all ? measured_ : missing) needs_[b].given_up = true;
  const std::string where = all ? "all boundaries"
                                : std::to_string(missing.size()) + " of " + std::to_string(measured_.size()) +
                                      (measured_.size() == 1 ? " boundary" : " boundaries") +
                                      ", where nothing changed,";
  stops_because_ = (why ? why->sentence : "the lamps do not follow as the settings say") +
                   (missing.empty() && !all ? "" : "; " + where + " were given up") + " after " +
                   say_span(view.seen_until) + ": put that right and survey again";
}

// Before all boundaries were passed: whether nothing that was seen is of this unit.
bool SurveyPlanner::is_another(const SurveyView& view) const {
  if (setup_.to_the_end || was_measured(measured_[first_])) return false;
  const auto [as_set, why] = likeness_of(gauge_, setup_.judge.wired, view);
  return why ? why->why == LostUnit::Why::pulses_per_rev : as_set < least_like;
}

// What the quick passes took, and what the slow ones and the rest will.
Nanos SurveyPlanner::sound_lasts(const SurveyView& view) {
  const Place place = place_;
  std::vector<Step> slow;
  for (std::size_t at = 0; at < measured_.size(); ++at) slow_pairs(at, slow);
  const Nanos resting = lasting(rest());
  place_ = place;
  return lasting(view.steps) + lasting(slow) + resting;
}

// A unit that is not all there gets little more time than a sound one.
bool SurveyPlanner::gives_up(const SurveyView& view) {
  if (setup_.to_the_end) return false;
  std::string missing;
  std::size_t n = 0;
  bool looks_on = false;
  for (const std::size_t b : measured_)
    if (!was_seen(b)) {
      missing += (n++ == 0 ? "" : ", ") + gauge_.windows[b].name;
      looks_on = looks_on || !needs_[b].given_up;
    }
  // A boundary that was moved further than the tolerance is looked for before it is given up.
  if (looks_on && !lost_ && !stops_because_) return false;
  if ((missing.empty() && !stops_because_) || (!again_.empty() && view.seen_until < enough_)) return false;
  if (stops_because_) return true;
  // A wider look may have told what is wrong.
  if (const auto why = likeness_of(gauge_, setup_.judge.wired, view).why)
    stops_because_ = why->sentence + "; the survey stopped after " + say_span(view.seen_until) +
                     ": put that right and survey again";
  else
    stops_because_ = (n == 1 ? "boundary " : "boundaries ") + missing +
                     ": the lamps did not change near there both ways, and the survey stopped after " +
                     say_span(view.seen_until);
  return true;
}

}  // namespace tachproof

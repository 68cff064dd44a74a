// A survey of a unit whose settings are not trusted.
//
// First it scouts: up and down through the whole range at one rate, then a stay
// in the middle of each stretch in which the lamps showed one thing, to see
// what blinks. That gives a rough gauge; a SurveyPlanner then measures it as it
// would measure any other.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/plan/survey.h"

namespace tachproof {

struct FoundGauge {
  Gauge gauge;  // what the unit does, in the bench's rpm; as the hints where nothing was found
  std::vector<std::optional<std::size_t>> hinted;  // per window: the hinted one that shows the same, in order
  std::vector<std::string> notes;                  // what a reader must know
  std::vector<std::string> troubles;               // why it may be wrong: then nothing is decided
};

class UnknownSurvey {
 public:
  // Of `hints` these are taken: lamps, tolerance, pulses per revolution, the
  // range of rpm (from 0.4 of its lowest boundary to 1.2 of its highest), and
  // names for windows that show the same.
  UnknownSurvey(const Gauge& hints, const SurveySetup& setup);

  std::vector<Step> next(const SurveyView& view);  // as SurveyPlanner's

  // Once it is over, or was ended before.
  FoundGauge found(const SurveyView& view) const;

  // The planner's, once the unit has been scouted.
  std::size_t known() const { return planner_ ? planner_->known() : 0; }
  std::size_t wanted() const { return planner_ ? planner_->wanted() : 0; }

 private:
  enum class Phase { sweep, stays, measure, over };
  struct Stretch {  // of the sweep up, in which the lamps showed one thing
    Nanos from = 0, to = 0;
    Channels lit = 0;
    Cue cue;
    Nanos stay_from = 0, stay_to = 0;
    double lowest_rpm = 0, highest_rpm = 0;  // of the stays that showed this
  };

  Nanos stay() const;
  std::vector<Step> sweep() const;
  std::vector<Step> stays(const SurveyView& view);
  void read_stays(const SurveyView& view);
  void place_boundaries(const SurveyView& view);
  void name_windows();

  Gauge hints_, rough_;
  SurveySetup setup_;
  Phase phase_ = Phase::sweep;
  double low_ = 0, high_ = 0;
  Nanos up_from_ = 0, up_to_ = 0, down_from_ = 0, down_to_ = 0;
  std::vector<Stretch> stretches_;
  std::vector<std::optional<std::size_t>> hinted_;
  std::optional<SurveyPlanner> planner_;
  std::vector<std::string> troubles_;
};

// What a judge said of a unit by the very settings that were found on it is no
// verdict: takes the words away and leaves the numbers. Findings of the bench
// and of the evidence stay.
void as_findings(RunResult& result);

// Pulses per revolution from a boundary whose rpm is known.
struct KnownBoundary {
  std::string window;
  double rpm = 0;
};
struct PulsesFound {
  Gauge gauge;           // with these pulses per revolution, its rpm to match
  std::string sentence;  // how they were found
};
PulsesFound pulses_per_rev_found(const Gauge& gauge, const std::optional<KnownBoundary>& known);

// Where the deadband sits cannot be seen, only where both thresholds are. Says
// it as the settings do: on the side where most boundaries come nearest to the
// hinted ones, when those are near enough to be meant; else below. The
// thresholds stay where they are.
Gauge with_deadband_as_set(const FoundGauge& found, const Gauge& as_written, const Gauge& hints);

}  // namespace tachproof

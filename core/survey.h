// The planner of a survey: what to play next, given what has been seen.
//
// A survey measures every boundary both ways to a wanted uncertainty in as
// little bench time as it can. It goes
//
//     1. fast past each boundary, up and down: where it is, and the response
//     2. to each blinking window, for a few periods
//     3. slowly past each boundary, up and down: the threshold
//     4. to rest, until all of that has been seen
//     5. past those boundaries again that are not yet known well enough,
//        fast or slow, whichever their uncertainty asks for; back to 4
//
// Jumps between boundaries cross them as steps, which tell the response as
// well. It turns back as soon after a threshold as a conforming unit allows,
// which gives the deadband. Pauses at the turns differ from each other, so that
// visits meet the unit's own update clock at all its phases.
//
// Pure: the same changes at the same instants give the same steps. What is
// measured is the judge's own fit, so that judging the stored run again gives
// the same numbers.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "core/gauge.h"
#include "core/judge.h"
#include "core/profile.h"
#include "core/result.h"
#include "core/timeline.h"

namespace tachproof {

struct SurveySetup {
  JudgeSetup judge;                // of the bench; `what` is the survey's own
  double within_rpm = 1;           // wanted expanded uncertainty
  Nanos ahead = 0;                 // what has been handed to the source cannot be recalled
  Nanos longest = 300 * ns_per_s;  // then it ends, whatever is known
};

// What the settings of a survey's scenario ask of the judge.
JudgeWhat survey_asks(double within_rpm);

// All of a run so far.
struct SurveyView {
  std::span<const Step> steps;  // played, or handed to the source
  std::span<const LampEvent> events;
  Nanos seen_until = 0;
};

class SurveyPlanner {
 public:
  SurveyPlanner(const Gauge& gauge, const SurveySetup& setup);

  // The steps that follow those of `view`; none when the survey is over.
  std::vector<Step> next(const SurveyView& view);

  // Windows whose boundary the lamps cannot show at an instant: their cue is
  // that of the window below, or differs by blinking alone.
  const std::vector<std::size_t>& unmeasurable() const { return unmeasurable_; }

 private:
  enum class Phase { start, fast, blinks, slow, rest, again, over };

  struct Zone {
    double low = 0, high = 0;
  };
  struct Need {
    double shift_rpm = 0;  // of the boundary as seen, from its setting
    double widen = 1;      // more room where no change was seen
    bool given_up = false;
  };

  double slow_rate(std::size_t boundary) const;
  double fast_rate(std::size_t boundary) const;
  Zone zone(std::size_t boundary, double rate) const;
  void pair(std::size_t boundary, double rate, std::vector<Step>& out);
  Nanos pause();
  std::vector<Step> dwell(std::size_t window);
  std::vector<Step> rest();
  void look(const SurveyView& view);
  void plan_again();

  Gauge gauge_;
  SurveySetup setup_;
  std::vector<std::size_t> measured_;
  std::vector<std::size_t> unmeasurable_;
  std::vector<std::size_t> blinking_;
  Phase phase_ = Phase::start;
  std::size_t at_ = 0;  // place in the present phase's list
  std::vector<Need> needs_;
  struct Pair {
    std::size_t boundary;
    double rate;
  };
  std::vector<Pair> again_;
  RunResult known_;
  int rounds_ = 0;
  std::size_t pauses_ = 0;
  double last_high_ = 0;  // where the last way up ended
};

// The judge over a whole run, played by these steps.
RunResult judge_survey(const Gauge& gauge, const JudgeSetup& setup, const SurveyView& view, bool complete);

}  // namespace tachproof

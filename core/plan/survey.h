// The planner of a survey: what to play next, given what has been seen.
//
// A survey measures every boundary both ways to a wanted uncertainty in as
// little bench time as it can. It goes
//
//     1. fast past one boundary, down and up: the response
//     2. to each blinking window, for a few periods; meanwhile that response is seen
//     3. past a pilot, fast and several times slowly: how this unit's visits scatter; the jump to it shows
//     how
//        long the unit remembers what was before
//     4. to each window that has not been shown, for its cue
//     5. up and down the stairs: a hold just short of each threshold and one just beyond it, which measure
//        those that are where they are set (core/plan/survey_stairs.cc)
//     6. fast past every other boundary: where it is, and its response; then slowly: the threshold
//     7. in holds round each boundary that a ramp cannot measure, since its sides
//        differ by blinking alone (core/plan/survey_holds.h)
//     8. to rest, until all of that has been seen
//     9. past those boundaries again that are not yet known well enough, or so near a limit
//        that a few visits more decide on which side they are:
//        fast, slow or in holds, whichever their uncertainty asks for; back to 8
//
// Without a blinking window, with few boundaries or narrow windows, or where every response is wanted, 3 to 5
// are left out, and one boundary is passed slowly several times in 6.
//
// Jumps between boundaries cross them as steps, which measure the response as well; then it waits until the
// unit has forgotten the jump. It turns back as soon after a threshold as this unit allows, which gives the
// deadband. Pauses at the turns differ from each other, so that visits meet the
// unit's own update clock at all its phases. Narrow windows are passed slowly
// enough that a dimmed lamp shows several periods of its dimming in each: of less
// nobody can say whether it was one.
//
// Pure: the same changes at the same instants give the same steps. What is
// measured is the judge's own fit, so that judging the stored run again gives
// the same numbers.
#pragma once

#include <algorithm>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/judge.h"
#include "core/judge/result.h"
#include "core/plan/survey_holds.h"
#include "core/plan/survey_narrow.h"
#include "core/plan/survey_view.h"
#include "core/signal/profile.h"

namespace tachproof {

struct SurveySetup {
  JudgeSetup judge;                // of the bench; `what` is the survey's own
  double within_rpm = 1;           // wanted expanded uncertainty
  Nanos ahead = 0;                 // what has been handed to the source cannot be recalled
  Nanos longest = 300 * ns_per_s;  // then it ends, whatever is known
  // Else a unit that is not the one of the settings, or is wired wrongly, is
  // measured where it can be, and given up where its lamps did not change.
  bool to_the_end = false;
  // Every boundary is passed in ramps, which measure its response as well.
  bool responses = false;
};

// What the settings of a survey's scenario ask of the judge.
JudgeWhat survey_asks(double within_rpm);

class SurveyPlanner {
 public:
  SurveyPlanner(const Gauge& gauge, const SurveySetup& setup);

  // The steps that follow those of `view`; none when the survey is over.
  std::vector<Step> next(const SurveyView& view);

  // Windows whose boundary the lamps cannot show: their cue is that of the
  // window below.
  const std::vector<std::size_t>& unmeasurable() const { return unmeasurable_; }
  // Of a boundary whose sides differ by blinking alone: it was seen to show the
  // lower side at one rpm and the upper side at the other, coming from below.
  void expect_between(std::size_t boundary, double below_rpm, double above_rpm);
  // What holds have shown of such a boundary so far.
  std::optional<ThresholdSearch::Bracket> bracket(std::size_t boundary, Direction direction) const;
  // Why it stops before every boundary has been measured, in a sentence without a full stop; known after
  // the first seconds, or when it is over.
  const std::optional<std::string>& stops_because() const { return stops_because_; }
  // How many boundaries are known both ways as well as is wanted, as of the last
  // look, and of how many.
  std::size_t known() const;
  std::size_t wanted() const { return measured_.size() + held_.size(); }

 private:
  static constexpr double spare_rpm = 1;         // beyond the tolerance, on both sides of a boundary
  static constexpr std::size_t pilot_steps = 5;  // one quick pair, three slow ones, and every other cue
  enum class Phase { start, blinks, pilot, stairs, fast, slow, holds, rest, again, over };

  // Where the way down past a boundary, and the way up, begin and end.
  struct Ways {
    double down_from = 0, down_to = 0, up_from = 0, up_to = 0;
    double high() const { return std::max(down_from, up_to); }
    double low() const { return std::min(down_to, up_from); }
  };
  struct Need {
    double shift_rpm = 0;                // of the boundary as seen, from its setting
    double least_rpm = 0, most_rpm = 0;  // of its two ways, where passes about the mean gave no visit
    double widen = 1;                    // more room where no change was seen
    int slow_again = 0;                  // visits that a quick one asked for
    bool seen_quickly = false;           // both ways, while the ramp went on
    int quick_again = 0;
    int visits = -1;    // as of the last round that passed it
    bool wary = false;  // passes that were led in for no longer than this unit needs gave no visit
    bool given_up = false;
    bool climbed = false;  // known by holds, which need no response
  };
  // A boundary whose sides differ by blinking alone.
  struct Held {
    std::size_t boundary = 0;
    HoldReading reading;
    ThresholdSearch rising, falling;
    double width_rpm = 0;   // of the brackets that are wanted
    double margin_rpm = 0;  // on the far side, so that the unit is surely back
    int narrowed = 0;
  };
  struct Pass {  // of holds, played and not yet read
    std::size_t held = 0;
    Direction direction = Direction::rising;
    std::vector<double> rpm;
    Nanos from = 0, each = 0;  // the first hold, on the far side, begins at `from`
  };

  // How long after its threshold the unit has changed on quick ramps so far, at least and at
  // most, and what of that may be a filter's.
  struct Delays {
    double from_s = 0, filter_s = 0, to_s = 0;
    bool any = false;  // else nothing was seen yet, and it may be whatever is allowed
  };

  // Where the steps so far end.
  struct Place {
    double rpm = 0;
    double high_rpm = 0;     // where the last way up ended; 0: not at a way up's end
    double above_rpm = 0;    // above it, a conforming unit is above the boundary that was passed last
    double above_for_s = 0;  // for how long it has been
    std::size_t boundary = 0;
    std::size_t pauses = 0;
  };

  struct Again {
    std::size_t boundary;
    double rate;  // 0: in holds, and `boundary` is an index of held_
  };

  std::vector<Step> plan(const SurveyView& view);
  // The next steps of the present phase, or the phase after it.
  void go_on(const SurveyView& view, std::vector<Step>& out);
  void enter(Phase phase);
  double slow_rate(std::size_t boundary) const;
  double fast_rate(std::size_t boundary) const;
  double lead_s(std::size_t boundary, double rate) const;
  double stay_s() const;
  // So long a conforming unit takes, all its lamps.
  Nanos answer() const { return gauge_.tolerance.response_to + gauge_.tolerance.settle; }
  double forgets_s(std::size_t boundary, double jump_rpm, double rate) const;
  double pulse_s(std::size_t boundary) const;
  bool takes_stairs() const;
  bool pilots(std::size_t boundary) const { return pilot_ && measured_[*pilot_] == boundary; }
  void pilot(const SurveyView& view, std::vector<Step>& out);
  std::optional<double> stair_rpm() const;
  std::vector<Step> stairs();
  void show_cues(std::vector<Step>& out);
  void stair(std::size_t boundary, Direction direction, double half_rpm, std::vector<Step>& out);
  void take_climbed();
  bool all_climbed() const;
  bool tells_delay(double rate) const;
  void take_delays();
  void start(std::vector<Step>& out);
  void ask_above(double next_rpm, std::vector<Step>& out);
  Ways ways(std::size_t boundary, double rate) const;
  double passing_rate(std::size_t boundary, double rate) const;
  std::size_t first() const;
  void pair(std::size_t boundary, double rate, std::vector<Step>& out);
  void slow_pairs(std::size_t measured, std::vector<Step>& out);
  void hold(std::size_t held, Nanos from, std::vector<Step>& out);
  void pass(std::size_t held, Direction direction, Nanos from, std::vector<Step>& out);
  void read_passes(const SurveyView& view);
  Nanos pause();
  std::vector<Step> dwell(std::size_t window);
  std::vector<Step> rest();
  void look(const SurveyView& view);
  bool was_seen(std::size_t boundary) const;
  bool was_measured(std::size_t boundary) const;  // by any number of visits, both ways
  void look_if_lost(const SurveyView& view);
  bool is_another(const SurveyView& view) const;
  Nanos sound_lasts(const SurveyView& view);
  void narrow(Held& held);
  bool gives_up(const SurveyView& view);
  void plan_again();
  void plan_again(std::size_t boundary);
  double short_of_a_verdict(const BoundaryResult& row) const;
  void do_again(const Again& again, const SurveyView& view, std::vector<Step>& out);
  bool known_well(std::size_t boundary) const;

  Gauge gauge_;
  SurveySetup setup_;
  NarrowWindows narrow_;
  std::vector<std::size_t> measured_;
  std::vector<std::size_t> unmeasurable_;
  std::vector<Held> held_;
  std::vector<Pass> passes_;
  std::vector<std::size_t> blinking_;
  Phase phase_ = Phase::start;
  std::size_t at_ = 0;                // place in the present phase's list
  std::size_t first_ = 0;             // the one of measured_ that is passed first
  std::optional<std::size_t> pilot_;  // the one that tells how this unit's visits scatter, before the stairs
  std::vector<Need> needs_;
  std::vector<Again> again_;
  RunResult known_;
  int rounds_ = 0;
  std::optional<std::string> stops_because_;
  bool lost_ = false;  // nowhere near its boundaries: holds would find none either
  Nanos enough_ = 0;   // for a unit that is not all there; 0: not known yet
  Delays shown_;
  Place place_;
};

// The judge over a whole run, played by these steps.
RunResult judge_survey(const Gauge& gauge, const JudgeSetup& setup, const SurveyView& view, bool complete);

}  // namespace tachproof

// One run's record: what was judged, what was seen, and the verdict, with
// numbers. The reports are written from this and from nothing else.
#pragma once

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/time.h"
#include "core/base/verdict.h"
#include "core/gauge/gauge.h"
#include "core/judge/jump_memory.h"

namespace tachproof {

// Known only to lie between these two.
struct RpmBetween {
  double low_rpm = 0, high_rpm = 0;
};

// A change of window that the settings demand, and what was seen of it.
struct TransitionResult {
  std::string boundary;
  Direction direction = Direction::rising;
  double nominal_rpm = 0;  // the threshold, deadband applied
  Nanos earliest = 0;      // a conforming unit changes in earliest..latest;
  Nanos nominal = 0;       // nominal: exact threshold, fastest response
  Nanos latest = 0;
  bool seen = false;
  Nanos at = 0;                         // when it was seen
  double observed_rpm = not_measured;   // the profile's rpm at `at`
  double deviation_rpm = not_measured;  // observed - nominal
  double lowest_rpm = not_measured;     // the deviation that is allowed at this
  double highest_rpm = not_measured;    // rate: tolerance plus rate x response
  double rate_rpm_per_s = 0;            // of the profile there, signed; 0 for a step
  bool step = false;                    // the profile jumped: `at` gives the response, not the threshold
  double expanded_uncertainty_rpm = not_measured;  // k = 2
  std::optional<RpmBetween> between_rpm;           // of a change that no lamp dates
  bool asked = true;                               // undecided counts: nothing else decides its boundary
  Verdict verdict = Verdict::undecided;
  std::string state = {};  // of the unit, "after set 1 at 4210 rpm"; empty: as set
  std::string remark;      // why undecided, in words; may be empty
};

// What a row says of its verdict: "not asked" where it was not and is undecided.
template <class Row>
std::string_view row_word(const Row& row) {
  return !row.asked && row.verdict == Verdict::undecided ? "not asked" : word(row.verdict);
}
inline std::string_view row_word(const TransitionResult& row) {
  return !row.asked && row.verdict == Verdict::undecided ? "not dated" : word(row.verdict);
}

// One component of an uncertainty budget (GUM, JCGM 100:2008, 8).
struct BudgetLine {
  std::string component;                                 // "source tick", "repeatability", ...
  double standard_uncertainty_rpm = 0;                   // its contribution to the result
  double dof = std::numeric_limits<double>::infinity();  // degrees of freedom; infinite: null in JSON
};

// How far this unit's visits to its boundaries scatter: standard deviations of
// one visit, a part in rpm whatever the rate (rounding, noise) and a part in
// time (it updates now and then). Found from the run's own visits; NaN where
// they are too few.
struct UnitScatter {
  double rpm = not_measured;
  double ms = not_measured;
  double dof = 0;  // degrees of freedom, together
};

// Threshold and response of one boundary in one direction, from all its visits.
struct BoundaryResult {
  std::string boundary;
  Direction direction = Direction::rising;
  double nominal_rpm = 0;
  double threshold_rpm = not_measured;
  double expanded_uncertainty_rpm = not_measured;
  double response_ms = not_measured;
  double response_uncertainty_ms = not_measured;
  int visits = 0;
  std::vector<BudgetLine> budget;         // behind expanded_uncertainty_rpm; may be empty
  double coverage_factor = not_measured;  // k, for 95 %
  double dof = not_measured;              // effective, GUM G.4; infinite where nothing limits it
  std::optional<RpmBetween> between_rpm;  // of a threshold that no change dates
  bool by_holds = false;                  // between two holds, which tell no response
  bool asked = true;                      // the scenario asks for it: undecided counts
  Verdict verdict = Verdict::undecided;
  std::string state = {};  // of the unit, "after set 1 at 4210 rpm"; empty: as set
  std::string remark;      // why undecided, in words; may be empty
};

// Rising less falling threshold of one boundary: what both share, such as the
// response, cancels.
struct DeadbandResult {
  std::string boundary;
  double nominal_rpm = 0;  // width as set
  double width_rpm = not_measured;
  double expanded_uncertainty_rpm = not_measured;
  double coverage_factor = not_measured;
  std::optional<Sits> sits;  // where the evidence decides it
  bool asked = true;
  Verdict verdict = Verdict::undecided;
  std::string state = {};  // of the unit, "after set 1 at 4210 rpm"; empty: as set
  std::string remark;
};

// The response at one boundary in one direction, from steps and ramps of this
// run alone: never what the gauge allows.
struct ResponseResult {
  std::string boundary;
  Direction direction = Direction::rising;
  double response_ms = not_measured;
  double expanded_uncertainty_ms = not_measured;
  double coverage_factor = not_measured;
  int visits = 0;
  bool asked = true;
  Verdict verdict = Verdict::undecided;
  std::string state = {};  // of the unit, "after set 1 at 4210 rpm"; empty: as set
  std::string remark;
};

struct BlinkResult {
  std::string window;
  std::string lamp;  // "top magenta"
  double hz = not_measured;
  double duty = not_measured;
  int cycles = 0;
  Verdict verdict = Verdict::undecided;
  std::string state = {};  // as above
};

struct FlickerResult {
  std::string boundary;
  double mean_rpm = 0;
  double duration_s = 0;
  std::uint64_t changes = 0;  // beyond those that the profile demands
  double rate_per_min = 0;
  double upper_95_per_min = 0;
  double limit_per_min = not_measured;  // no limit asked for: null
  Verdict verdict = Verdict::undecided;
};

struct AnswerResult {
  Nanos at = 0;
  std::string question;
  std::string answer;  // as given; empty: none was given
  std::string expected;
  Verdict verdict = Verdict::undecided;
};

// How bright a lamp was while lit: 1 is steady, less is PWM-dimmed.
struct LevelResult {
  std::string lamp;
  double level = 1;
  double pwm_hz = 0;  // 0: not dimmed
};

// One press of a button that takes the rpm.
struct PressResult {
  std::string button;
  Nanos at = 0;
  double rpm = not_measured;  // of the profile at the press
  bool must_refuse = false;   // outside what the button takes
  // What the unit has made of it, by the boundaries that were passed afterwards.
  std::optional<bool> refused;
  double taken_rpm = not_measured;  // where the boundary then was
  double expanded_uncertainty_rpm = not_measured;
  double reaction_ms = not_measured;  // until the lamps changed; NaN where nothing had to change at once
  Verdict verdict = Verdict::undecided;
  std::string remark;
};

// One step of the dimming button.
struct DimResult {
  std::string button;
  Nanos at = 0;
  double set_level = 1;  // share of full light
  double level = not_measured;
  double expanded_uncertainty = not_measured;
  std::string lamp;  // the one that is furthest off
  Verdict verdict = Verdict::undecided;
  std::string remark;
};

// One loss of power, or one time outside what the unit may be fed, and how it woke; or one time at which it
// went dark inside of that.
struct PowerResult {
  Nanos at = 0;                    // off; outside; dark
  Nanos back_at = 0;               // and on again, inside again
  double lowest_v = not_measured;  // the furthest outside; where it went dark; NaN: the supply was cut
  bool went_dark = false;          // inside what it may be fed
  double boot_ms = not_measured;
  double expanded_uncertainty_ms = not_measured;
  double greeted_ms = not_measured;
  // Where all boundaries that a button moves were off by as much afterwards.
  double off_rpm = not_measured, off_uncertainty_rpm = not_measured;
  Verdict verdict = Verdict::undecided;
  std::string remark;
};

// What the unit was from one press or loss of power to the next, as far as its lamps have told.
struct StateResult {
  std::string state = {};  // as in the rows; empty: as set
  Nanos from = 0, to = 0;
  Nanos judged_from = 0;  // from then on its lamps had to be as the state says; `to` where they never had
  // Where boundaries that a button moves then were, and with them all that hangs from the same anchor.
  struct Taken {
    std::string boundary;
    double rpm = 0, doubt_rpm = 0;  // the unit may have it so far off
    bool operator==(const Taken&) const = default;
  };
  std::vector<Taken> taken = {};
  double level = 1;             // share of full light
  double fed_v = not_measured;  // NaN: nobody said
};
// The gauge with its boundaries where they were in that state.
Gauge in_state(const Gauge& gauge, const StateResult& state);

enum class FindingKind {
  missing_transition,
  early,
  late,
  extra_transition,
  wrong_cue,
  stuck_lamp,
  blink_rate,
  blink_missing,
  flicker,
  slow_response,
  no_signal,
  lost_evidence,
  bench_fault,
  wrong_answer,
  unknown_colour,  // lit in a colour that nobody said it has
  press_ignored,
  press_not_refused,
  wrong_take,  // another rpm than that of the press
  dim_level,
  settings_lost,  // over a loss of power
  settings_kept,  // what had to be forgotten then
  wrong_greeting,
  slow_boot,
  supply_drift,  // boundaries move with the voltage
  brown_out,     // dark inside what it may be fed
  no_return      // dark after it was outside of that
};
inline constexpr FindingKind last_finding_kind = FindingKind::no_return;
std::string_view word(FindingKind k);  // "missing-transition", ...
// What a finding of this kind makes of a run: fail when it speaks of the unit,
// undecided when it speaks of the bench or of the evidence.
Verdict verdict_of(FindingKind k);

struct Finding {
  FindingKind kind = FindingKind::bench_fault;
  Nanos at = 0;
  std::string window;   // may be empty
  std::string lamp;     // may be empty
  std::string message;  // with its numbers and units; the last sentence has no full stop
};

struct Evidence {
  std::uint64_t pulses = 0;
  std::uint64_t lamp_changes = 0;
  std::uint64_t lost = 0;
};

// How well the lamp changes of this run were dated, where the watcher knows that only from what it saw.
struct StampTimes {
  Nanos width = 0;        // full width of the span within which a change lies (rectangular)
  Nanos uncertainty = 0;  // standard, beyond that; of it, what is
  Nanos offset = 0;       // the same for all stamps
};

struct RunResult {
  Verdict verdict = Verdict::undecided;
  bool complete = false;  // the whole scenario was played and seen
  Nanos duration = 0;
  std::vector<TransitionResult> transitions;
  std::vector<BoundaryResult> boundaries;
  std::vector<DeadbandResult> deadbands;
  std::vector<ResponseResult> responses;
  std::vector<BlinkResult> blinks;
  UnitScatter scatter;
  JumpMemory memory;  // a survey's
  std::vector<FlickerResult> flicker;
  std::vector<AnswerResult> answers;
  std::vector<LevelResult> levels;
  std::vector<PressResult> presses;
  std::vector<DimResult> dims;
  std::vector<PowerResult> powers;
  std::vector<StateResult> states;  // in time order; none of a unit that stayed as it was set
  std::vector<Finding> findings;    // time order; at most max_findings, then a count
  std::uint64_t findings_left_out = 0;
  std::vector<std::string> not_judged;   // "top magenta": channels without a wire
  std::vector<std::string> not_visited;  // boundaries that the profile never crossed
  std::vector<std::string> not_asked;    // kinds that the scenario leaves out: "thresholds"
  std::vector<std::string> notes;        // what a reader must know; as `message`
  std::string closing = {};  // what all of it comes to, where the rows alone do not say; as `message`
  Evidence evidence;
  std::optional<StampTimes> stamps = {};
};

}  // namespace tachproof

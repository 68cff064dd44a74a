// Plays a survey on a rig: the closed loop between a planner and a unit.
//
// Like a run, except that the profile is not known before: whenever the source
// has been given all that was planned, the planner is asked for more, on the
// strength of what has been seen by then. The source is kept `survey_ahead` of
// the lamps, in virtual time as in real time, so that a survey takes the same
// bench time on every rig. Those pulses cannot be recalled: the planner sees
// what its last steps did only that much later.
//
// Whatever goes wrong on the way is a finding and makes the survey undecided
// at best; no exception of the world leaves it.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "bench/rigs/rig.h"
#include "bench/run/evidence_writer.h"
#include "bench/run/hooks.h"
#include "bench/run/pace.h"
#include "bench/run/runner.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/plan/survey.h"
#include "core/signal/profile.h"

namespace tachproof {

// Whatever the source: a survey reacts to what was seen, in virtual time too.
inline Nanos survey_ahead(const WatcherFacts& watcher) { return real_pace.ahead + watcher.behind; }

// Gives the steps that follow; none when it is over. Presses are pressed; nothing
// is asked.
using NextSteps = std::function<std::vector<Step>(const SurveyView&)>;

// All that a survey left: what was played, and what was seen of it.
struct SurveyEvidence {
  std::vector<Step> steps;
  std::vector<LampEvent> events;
  Nanos seen_until = 0;
  std::uint64_t pulses = 0;
  std::uint64_t lost = 0;
  std::vector<Finding> findings;  // the bench's own
  Channels unsure_blinks = 0;     // as in Seen
  std::string untimed;            // likewise
  std::optional<StampTimes> stamps;
  bool complete = false;  // all that was planned was played and seen
  Nanos waking = 0;       // it took before the survey began

  SurveyView view() const { return {steps, events, seen_until}; }
};

// How a unit is asked whether it is awake: a gauge that still starts up is dark,
// whatever is played. It is asked with an rpm at which its lamps are lit, until
// they are, and after a second with those of other lamps in turn, as one may be
// broken; then it gets time to go dark again, and the survey begins: instant 0
// of all that is kept is then. What was before is no evidence of anything.
struct WakeUp {
  struct Ask {
    double rpm = 0;
    Channels steady = 0, blinking = 0;  // what it then has to show
  };
  std::vector<Ask> asks;  // at least one
  std::string shows;      // what the settings say of the first: "left white"
  double rest_rpm = 0;
  Nanos each = 0;  // of the others
  Nanos rest = 0;  // a sound unit shows the lowest window after so long at rest_rpm
  Nanos longest = 5 * ns_per_s;
  bool needed = true;  // else the survey begins all the same
};
// Nothing when no window lights a lamp that is wired. Without trust in the
// settings an answer is not needed.
std::optional<WakeUp> wake_up(const Gauge& gauge, Channels wired, bool trusted = true);

// `writer` may be null: nothing is written down. `pulses_per_rev`: of the train.
// Without `wake` the survey begins at once.
SurveyEvidence play_survey(const NextSteps& next, double pulses_per_rev, Rig& rig, EvidenceWriter* writer,
                           const RunHooks& hooks = {}, const std::optional<WakeUp>& wake = std::nullopt);

// What the planner and the judge of a survey on this rig are given.
SurveySetup survey_setup_of(const Rig& rig, double within_rpm);

// The judge's word on it, its reaches handed to the writer; what it was told to the log.
RunResult judge_evidence(const Gauge& gauge, const JudgeSetup& setup, const SurveyEvidence& evidence,
                         EvidenceWriter* writer, EvidenceLog* log = nullptr);

// The profile that was played, as a scenario file that can be read back.
std::string scenario_yaml(const std::string& name, const std::vector<Step>& steps, double within_rpm);

}  // namespace tachproof

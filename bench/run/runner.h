// Plays a scenario on a rig, keeps what was seen, and judges it.
//
// 1. source and watcher begin
// 2. repeat: the pulses of the next stretch are played, the watcher's changes
//    until then are collected, judged and written down; actions at their instants.
//    Where time is real, it goes on while a person thinks about a question: the
//    rpm of that moment is kept, judged as a hold, and all that follows comes
//    that much later
// 3. source and watcher end, whatever happened
// 4. the judge finishes
//
// A stretch is long where time is virtual and short where it is real. Whatever
// goes wrong on the way is a finding and makes the run undecided at best; no
// exception of the world leaves run_scenario.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "bench/record/run_folder.h"
#include "bench/rigs/rig.h"
#include "bench/run/hooks.h"
#include "core/gauge/gauge.h"
#include "core/judge/judge.h"
#include "core/judge/peaks.h"
#include "core/judge/result.h"
#include "core/signal/noise.h"
#include "core/signal/profile.h"

namespace tachproof {

// References: what they refer to must outlive the run.
struct RunPlan {
  const Gauge& gauge;
  const Profile& profile;
  Noise noise;
  std::uint64_t seed = 0;
  JudgeWhat what;
};

struct RunOutcome {
  RunResult result;
  Trace trace;
};

// What the bench of this rig adds to every measurement.
JudgeSetup judge_setup_of(const Rig& rig);

RunOutcome run_scenario(const RunPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks = {});

// What a given answer is worth. `peaks`: each a right answer where the peak is asked for.
// An answer that is missing is undecided.
AnswerResult judge_answer(const Ask& ask, Nanos at, const std::vector<PeakSpan>& peaks,
                          const std::optional<std::string>& answer);

// How long after a missing or doubled pulse the lamps are not judged.
Nanos disturbance_lasts(const Gauge& gauge, double rpm);

}  // namespace tachproof

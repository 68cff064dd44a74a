// Certifies a unit's flicker on the bench.
//
// At each boundary, the one that is foreseen to flicker most first:
//
//   1. a look at the mean where a sound unit flickers most. A unit that flickers
//      much is proven to there, within seconds
//   2. visits over the boundary and back, with an even signal: where this unit's
//      own deadband sits, with U. A unit whose lamps do not follow is not decided
//   3. the hold, under the scripted noise. It moves between the middle and the two
//      ends of what U leaves open (core/plan/hold_evidence.h), until a sequential
//      test or the longest time decides
//   4. where it passes, one more visit: a unit that was lost on the way keeps
//      quiet as well
//
// All holds count, those of the look too: which mean they are at does not depend
// on what they have counted. It ends at the first boundary that is proven to
// flicker, unless it goes on to the end.
#pragma once

#include "bench/record/run_folder.h"
#include "bench/rigs/rig.h"
#include "bench/run/runner.h"
#include "core/flicker/flicker.h"
#include "core/gauge/gauge.h"
#include "core/plan/dwell.h"
#include "core/signal/noise.h"

namespace tachproof {

struct DwellPlan {
  const Gauge& gauge;
  Noise noise;
  std::uint64_t seed = 0;
  Dwell dwell;
  UnitReading unit;         // how a sound unit reads, for the prediction
  bool to_the_end = false;  // go on after a boundary that flickers, and with a unit that does not follow
};

// A failure of the world is a finding, as in run_scenario; so is a lost change:
// then nothing passes. `hooks.ask_person` is not used; `hooks.announce` hears how long
// it will take.
RunOutcome run_dwell(const DwellPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks = {});

// The longest that it can take.
Nanos longest_dwell(const Gauge& gauge, const Dwell& dwell);

}  // namespace tachproof

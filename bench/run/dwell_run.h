// Certifies a unit's flicker on the bench.
//
// At each boundary: a ramp over it and back tells where this unit's own deadband
// sits; a unit whose lamps do not follow is not decided. Short holds at several
// mean rpm around that find where it flickers most. Then a hold there, in which
// changes are counted from nothing, until a sequential test or the end decides.
// What the search saw does not count, so that picking the worst cannot spoil
// the statistics.
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
  UnitReading unit;  // how a sound unit reads, for the prediction
};

// A failure of the world is a finding, as in run_scenario; so is a lost change:
// then nothing passes. `hooks.ask_person` is not used.
RunOutcome run_dwell(const DwellPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks = {});

// The longest that it can take.
Nanos longest_dwell(const Gauge& gauge, const Dwell& dwell);

}  // namespace tachproof

// Plays a lamp test on a rig and reads what each window showed.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/rigs/rig.h"
#include "bench/run/runner.h"
#include "core/gauge/gauge.h"

namespace tachproof {

struct LampTest {
  std::vector<std::optional<Cue>> shown;  // by window; nothing: it was not seen long enough
  std::vector<std::string> troubles;      // sentences; then nothing here counts
};

// `gauge` as the rig's watcher sees it (gauge_of_inputs while the wiring is not
// known). `sync`: flashed for a camera; see lamp_test_steps. No exception of the
// world leaves it.
LampTest play_lamp_test(const Gauge& gauge, Rig& rig, const RunHooks& hooks = {},
                        const std::string& sync = "");

}  // namespace tachproof

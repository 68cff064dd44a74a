// Which input or line shows which lamp: found by a lamp test, and asked where only
// a person can know.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "bench/commands/rig_report.h"
#include "bench/files/files.h"
#include "bench/run/lamp_test_run.h"
#include "core/gauge/gauge.h"

namespace tachproof {

// Plays a lamp test on this rig, whose watcher speaks in the channels of `gauge`.
using PlayLampTest = std::function<LampTest(const RigFile& rig, const Gauge& gauge)>;

// The wiring of `rig`'s watcher, whose lamps are wired to some of `candidates`.
// Nothing when it cannot be found; the report says why.
std::optional<Wiring> find_wiring(const Gauge& gauge, const RigFile& rig,
                                  const std::vector<std::string>& candidates, const PlayLampTest& play,
                                  RigReport& report);

}  // namespace tachproof

// A rig proved by a lamp test: what each window showed beside what the gauge file says.
#pragma once

#include <string>

#include "bench/commands/rig_report.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"

namespace tachproof {

// `wired`: the channels that the rig sees.
Verdict say_proof(const LampTest& test, const std::string& rig_name, const Gauge& gauge, Channels wired,
                  RigReport& report);

}  // namespace tachproof

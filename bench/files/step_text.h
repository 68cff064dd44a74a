// A step of a profile as a scenario file has it, for files that the program writes.
#pragma once

#include <string>

#include "core/signal/profile.h"

namespace tachproof {

// "12.5ms": to the nanosecond, without trailing zeros.
std::string ms_text(Nanos t);

// "{hold: 3700, for: 250ms}", "{ramp: 3800, rate: 12}", "{step: 3700}". Of a hold, a ramp or a step only:
// else std::bad_variant_access. `duration`: how a time is written.
std::string step_text(const Step& step, std::string (*duration)(Nanos) = ms_text);

}  // namespace tachproof

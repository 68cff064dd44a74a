// For tests that are all about instants.
#pragma once

#include "core/base/time.h"

namespace tachproof {

inline constexpr Nanos ms = ns_per_ms, s = ns_per_s;

}  // namespace tachproof

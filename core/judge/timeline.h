// What was seen: lamp states in time order.
#pragma once

#include <vector>

#include "core/base/time.h"
#include "core/gauge/gauge.h"

namespace tachproof {

// From `at` on, exactly these channels are lit. Watchers start with one at the
// first instant they can speak for. Raw: PWM dimming still shows as on and off.
struct LampEvent {
  Nanos at = 0;
  Channels lit = 0;
  bool operator==(const LampEvent&) const = default;
};

}  // namespace tachproof

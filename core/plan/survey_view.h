// What a survey has played and seen so far, as its planners look at it.
#pragma once

#include <span>
#include <vector>

#include "core/judge/timeline.h"
#include "core/signal/profile.h"

namespace tachproof {

// All of a run so far.
struct SurveyView {
  std::span<const Step> steps;  // played, or handed to the source; holds and ramps by time
  std::span<const LampEvent> events;
  Nanos seen_until = 0;
};

// A unit may take this long from the first pulse until it shows the rpm.
inline constexpr Nanos unit_wakes = 500 * ns_per_ms;

// How long these steps last together.
Nanos lasting(std::span<const Step> steps);

// The lamps as a person sees them: without their dimming, and moves of one
// change joined. Only wired channels.
std::vector<LampEvent> shown_lamps(std::span<const LampEvent> raw, Channels wired, Nanos settle);

}  // namespace tachproof

// Which cue a unit showed in each window, read from what was seen.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/expectation.h"
#include "core/judge/timeline.h"

namespace tachproof {

// What was shown while nothing but that window was allowed, window by window:
// a channel blinks when it changed again and again at a stretch, else it was
// what it was for most of the time. Nothing where that was too short to tell:
// 50 ms, or two periods at a stretch where the window blinks (common practice,
// no published source). Dimming counts as lit. `until` ends the last reach.
std::vector<std::optional<Cue>> shown_cues(const Gauge& gauge, std::span<const Reach> reaches,
                                           std::span<const LampEvent> raw, Nanos until);

}  // namespace tachproof

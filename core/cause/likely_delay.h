// How late a unit seems to answer, by the whole road: found however late that is, where thresholds tell
// nothing.
#pragma once

#include <optional>
#include <vector>

#include "core/cause/road.h"

namespace tachproof {

// The delay with which the lamps of these runs are right for longest. Nothing: none beyond what this gauge
// allows makes them clearly righter.
std::optional<Nanos> likely_delay(const std::vector<Road>& roads, const Gauge& gauge);

}  // namespace tachproof

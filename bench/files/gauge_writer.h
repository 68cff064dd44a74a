// A gauge as a gauge file: what load_gauge reads back as the same gauge, rpm to
// a hundredth. Anchors are written as numbers, count-ins as windows.
#pragma once

#include <string>

#include "core/gauge/gauge.h"

namespace tachproof {

std::string gauge_yaml(const Gauge& gauge);

}  // namespace tachproof

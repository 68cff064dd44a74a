// A gauge as a gauge file: what load_gauge reads back as the same gauge, rpm to
// a hundredth. Where a person wrote a speed and the rpm still comes from it, the
// speed is written, with its anchor; other boundaries are numbers, count-ins windows. A gauge with an
// rpm that its unit cannot be set to is written in rpm alone.
#pragma once

#include <string>

#include "core/gauge/gauge.h"

namespace tachproof {

std::string gauge_yaml(const Gauge& gauge);

}  // namespace tachproof

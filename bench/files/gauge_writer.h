// A gauge as a gauge file: what load_gauge reads back as the same gauge, rpm to
// a hundredth. Where a person wrote a speed and the rpm still comes from it, the speed is written. Count-ins
// are written as windows; those of a gauge file, called count-in-1 and so on, are refused under these names.
// A gauge with an rpm that its unit cannot be set to is written in rpm alone.
#pragma once

#include <string>

#include "core/gauge/gauge.h"

namespace tachproof {

std::string gauge_yaml(const Gauge& gauge);

}  // namespace tachproof

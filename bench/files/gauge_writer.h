// A gauge as a gauge file: what load_gauge reads back as the same gauge, rpm to
// a hundredth. Count-ins are written as windows; those of a gauge file, called count-in-1 and so on, are
// refused under these names.
#pragma once

#include <string>

#include "core/gauge/gauge.h"

namespace tachproof {

std::string gauge_yaml(const Gauge& gauge);

}  // namespace tachproof

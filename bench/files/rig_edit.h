// A rig file with another clock, everything else as its owner wrote it, comments
// and all.
#pragma once

#include <filesystem>
#include <string>

#include "bench/files/files.h"

namespace tachproof {

// "clock: {fast_ppm: 12.31, uncertainty_ppm: 5.8, calibrated: 2031-03-14}"
std::string clock_line(const ClockSetting& clock);

// The text of `file` with this clock in its source. Throws FileErrors when the
// file is unsound, its source is no board with a port, or its clock is written
// in a way that only a person can change.
std::string rig_with_clock(const std::filesystem::path& file, const ClockSetting& clock);

}  // namespace tachproof

// What a file was taken for, where that is worth a look before it is used.
#pragma once

#include <string>
#include <vector>

#include "bench/files/files.h"

namespace tachproof {

// "pit: 60km/h is set as 3209 rpm, which is 59.99 km/h +-0.30", a line for each anchor of a gauge
// with a drive; none without.
std::vector<std::string> anchors_in_speed(const Gauge& gauge);

// "lap.csv: 2001 samples, 50 a second, from 0 to 40 s by its own clock, 2105 to 7312 rpm; its time
// is in s (nothing says otherwise)", a line for each replay of a scenario.
std::vector<std::string> logs_in_words(const ScenarioFile& scenario);

}  // namespace tachproof

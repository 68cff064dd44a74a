// What differs between two gauges in buttons, power-up and supply: a part of settings_change.h.
#pragma once

#include <string>
#include <vector>

#include "core/gauge/settings_change.h"

namespace tachproof {

// One sentence for each difference that is no number. `windows`: which window is which in both gauges.
std::vector<std::string> button_changes(const Gauge& before, const Gauge& after,
                                        const std::vector<WindowChange>& windows);

// Times of the power-up and voltages, where both gauges have them; changed or not.
std::vector<NamedChange> power_numbers(const Gauge& before, const Gauge& after);

}  // namespace tachproof

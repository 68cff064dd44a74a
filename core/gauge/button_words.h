// What a button does, as a person says it: for changes of settings, sheets and reports.
#pragma once

#include <string>

#include "core/gauge/gauge.h"

namespace tachproof {

// A share of full light as a number of per cent: "55" for 0.55.
std::string per_cent_text(double share);
// "100, 55, 25, 10": per cent of full light.
std::string levels_text(const Dim& dim);

// "takes the rpm for beyond, from 2500 to 5500 rpm", "shows the peak for 4.00 s",
// "dims the lamps to 100, 55, 25, 10 %".
std::string says_what(const Button& button, const Gauge& gauge);

}  // namespace tachproof

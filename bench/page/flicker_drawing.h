// Flicker against the deadband's width, with a handle on the width.
#pragma once

#include <string>

#include "bench/reports/deadband_report.h"

namespace tachproof {

// "At 7 rpm: 0.4 changes a minute, at most 0.9; costs 0.1 km/h."
std::string at_width(const DeadbandRecord& record, const WidthRow& row);

// Answer, curve, handle and table of one boundary.
std::string flicker_html(const DeadbandRecord& record, std::size_t boundary);

}  // namespace tachproof

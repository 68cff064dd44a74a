// The tables of report.html. Each gives "" when it has nothing to show.
#pragma once

#include <string>

#include "bench/record/record.h"

namespace tachproof {

std::string not_passed_html(const RunRecord& record);  // of every kind, first of all
std::string findings_html(const RunRecord& record);    // equal ones together
std::string boundaries_html(const RunRecord& record);
// The thresholds in the car's speed, of a gauge with a drive.
std::string speeds_html(const RunRecord& record);
std::string deadbands_html(const RunRecord& record);
std::string responses_html(const RunRecord& record);
std::string transitions_html(const RunRecord& record);
std::string blinks_html(const RunRecord& record);
std::string flicker_html(const RunRecord& record);
std::string answers_html(const RunRecord& record);
std::string levels_html(const RunRecord& record);
// Of a unit that was pressed, dimmed, or lost its supply.
std::string presses_html(const RunRecord& record);
std::string dims_html(const RunRecord& record);
std::string powers_html(const RunRecord& record);
std::string windows_html(const Gauge& gauge);

// A number for a reader: a true minus sign, a dash for what was not measured.
std::string html_number(double value, int decimals);
// The same with a sign in front of everything but zero.
std::string html_signed(double value, int decimals);

}  // namespace tachproof

// The parts of report.html that make it a test report, after the content list
// of ISO/IEC 17025:2017, 7.8.2, 7.8.3 and 7.8.6, as far as a shop's own bench
// can say it. What the shop did not state is shown as "not stated".
#pragma once

#include <string>

#include "bench/record/record.h"

namespace tachproof {

// The report's id and page number in the margins of every printed page.
std::string page_style(const RunRecord& record);

std::string identity_html(const RunRecord& record);  // which report, whose, for whom
std::string unit_html(const RunRecord& record);      // what was tested, how and when
std::string bench_html(const RunRecord& record);     // with what, in which surroundings
std::string budget_html(const RunRecord& record);    // "" when no boundary has one
std::string decision_html(const RunRecord& record);  // by which rule, at which risk
std::string evidence_html(const RunRecord& record);  // files and their SHA-256
std::string statements_html(const RunRecord& record);

}  // namespace tachproof

// The pages of one run, and its table for a terminal.
#pragma once

#include <string>
#include <vector>

#include "bench/record/record.h"
#include "bench/record/run_folder.h"

namespace tachproof {

std::string report_html(const RunRecord& record, const Trace& trace);
std::string junit_xml(const RunRecord& record);
// The verdict table for a terminal of `width` columns; colours only if asked.
std::string verdict_text(const RunRecord& record, int width, bool colour);

// What a run folder holds beside its result and evidence: report.html, junit.xml.
std::vector<Page> run_pages(const RunRecord& record, const Trace& trace);

}  // namespace tachproof

// The suite behind `tachproof run`: plan, play, resume, report.
#pragma once

#include "bench/commands/report_options.h"
#include "bench/commands/suite_plan.h"

namespace tachproof {

// The exit status. Throws UsageError and FileErrors before anything is started.
int run_suite(const SuiteWords& words, const RetryPolicy& retry, bool resume, const ReportOptions& options);

}  // namespace tachproof

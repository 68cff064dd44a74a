// Two runs side by side for a reader: on a terminal, as JSON, as JUnit and as
// one page of HTML.
#pragma once

#include <string>

#include "bench/record/run_folder.h"
#include "core/compare/comparison.h"

namespace tachproof {

struct ComparisonRecord {
  std::string before_name, after_name;  // folders, as the user wrote them
  RunRecord before, after;
  std::string accepted;  // who accepted the old run, when and why; empty: nobody was asked
  ComparedRun before_run, after_run;
  Comparison comparison;
};

// Compares two stored runs. Throws std::runtime_error with a sentence when nothing of one's settings could be
// read.
ComparisonRecord comparison_of(const std::string& before_name, const StoredRun& before,
                               const std::string& after_name, const StoredRun& after);

// "PASS: all 55 rows are as intended.", "FAIL: Of 55 rows, 2 unintended, 1 missing.": the verdict and why.
std::string comparison_answer(const ComparisonRecord& record);

std::string comparison_text(const ComparisonRecord& record, int width);
std::string comparison_json(const Comparison& comparison);
std::string comparison_junit(const ComparisonRecord& record);
std::string comparison_html(const ComparisonRecord& record);

// "threshold rising", "blink rate, top magenta"; a row's numbers with their sign
// and as many decimals as the uncertainty has.
std::string row_title(const ComparisonItem& item);
std::string row_number(const ComparisonItem& item, double value);

}  // namespace tachproof

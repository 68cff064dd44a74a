// Any bytes as a run folder: the first line as result.json, lines in braces after it as journal.jsonl, all
// else as timeline.csv. It is no run folder, with a sentence, or its pages are drawn and it is compared.
#include <stdexcept>
#include <string>

#include "bench/record/run_folder.h"
#include "bench/record/text.h"
#include "bench/reports/comparison_report.h"
#include "bench/reports/run_report.h"
#include "tests/fuzz/fuzz.h"

namespace {

using namespace tachproof;

std::filesystem::path folder_of(std::string_view text) {
  std::string result, journal, timeline;
  for (bool first = true; !text.empty(); first = false) {
    const std::size_t length = std::min(text.find('\n'), text.size() - 1) + 1;
    (first ? result : text.front() == '{' ? journal : timeline) += text.substr(0, length);
    text.remove_prefix(length);
  }
  fuzz::file_with(journal, "journal.jsonl");
  fuzz::file_with(timeline, "timeline.csv");
  return fuzz::file_with(result, "result.json").parent_path();
}

void compare(const StoredRun& before, const StoredRun& after) {
  ComparisonRecord record;
  try {
    record = comparison_of("old", before, "new", after);
  } catch (const std::runtime_error& e) {
    fuzz::require_fit_for_a_line(printable(e.what()));
    return;
  }
  fuzz::require_fit_for_a_terminal(comparison_text(record, 80));
  fuzz::require_fit_for_a_terminal(comparison_json(record.comparison));
  comparison_junit(record);
  comparison_html(record);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const StoredRun run = load_run(folder_of(fuzz::text_of(data, size)));
  // Its journal has no last line that fits, as that holds a SHA-256 of the rest.
  fuzz::require(run.record.result.verdict != Verdict::pass && !run.record.result.complete);
  report_html(run.record, run.trace);
  junit_xml(run.record);
  fuzz::require_fit_for_a_terminal(verdict_text(run.record, 80, false));
  // With itself, and with a run of which nothing could be read.
  compare(run, run);
  compare(run, StoredRun{});
  compare(StoredRun{}, run);
  return 0;
}

// Any bytes as result.json: a sentence why they do not count, or a record; what is written of a
// record reads back, and what is printed of it holds nothing that a terminal would obey.
#include <stdexcept>

#include "bench/record/result_json.h"
#include "bench/record/text.h"
#include "bench/reports/run_report.h"
#include "tests/fuzz/fuzz.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace tachproof;
  RunRecord record;
  try {
    record = record_from_json(std::string(fuzz::text_of(data, size)));
  } catch (const std::runtime_error& e) {
    fuzz::require_fit_for_a_line(printable(e.what()));
    return 0;
  }
  try {
    const RunRecord again = record_from_json(result_json(record));
    fuzz::require(again.result.verdict == record.result.verdict && again.unit_serial == record.unit_serial);
  } catch (const std::runtime_error& e) {
    // The last nanosecond that is read is written as the first one beyond.
    fuzz::require(std::string_view(e.what()).ends_with("is not a time in seconds"));
  }
  fuzz::require_fit_for_a_terminal(verdict_text(record, 80, false));
  report_html(record, {});
  return 0;
}

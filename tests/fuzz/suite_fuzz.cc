// Any bytes as suite.json: a sentence, or a record that reads back, whose folders are all below it.
#include <stdexcept>

#include "bench/files/own_files.h"
#include "bench/run/suite.h"
#include "tests/fuzz/fuzz.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace tachproof;
  SuiteRecord record;
  try {
    record = suite_from_json(std::string(fuzz::text_of(data, size)));
  } catch (const std::runtime_error&) {
    return 0;
  }
  for (const SuitePair& pair : record.pairs)
    for (const Attempt& attempt : pair.attempts)
      fuzz::require(attempt.folder.empty() || stays_inside(attempt.folder));
  try {
    const SuiteRecord again = suite_from_json(suite_json(record));
    fuzz::require(again.pairs.size() == record.pairs.size() && again.verdict() == record.verdict());
  } catch (const std::runtime_error& e) {
    // The last nanosecond that is read is written as the first one beyond.
    fuzz::require(std::string_view(e.what()).ends_with("is not a time in seconds"));
  }
  std::string text = suite_head(record, 80) + suite_end(record, 80, false);
  for (const SuitePair& pair : record.pairs) text += suite_row(record, pair, 80, false);
  fuzz::require_fit_for_a_terminal(std::move(text));
  suite_html(record);
  suite_junit(record);
  return 0;
}

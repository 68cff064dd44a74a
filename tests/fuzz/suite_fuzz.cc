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
  suite_html(record);
  suite_junit(record);
  return 0;
}

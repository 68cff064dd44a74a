// The file readers on any bytes: they must answer, and every error is one line fit for a terminal,
// with a place inside the text.
#include <algorithm>

#include "bench/files/readers.h"
#include "tests/fuzz/fuzz.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using tachproof::fuzz::require;
  const std::string_view text = tachproof::fuzz::text_of(data, size);
  const auto lines = std::count(text.begin(), text.end(), '\n') + 1;
  const tachproof::CheckedFile checked = tachproof::check_text("/nowhere/fuzz.yaml", text);
  for (const tachproof::FileError& e : checked.errors) {
    tachproof::fuzz::require_fit_for_a_line(tachproof::to_line(e));
    require(e.message.find("; ") != std::string::npos);
    require(e.line >= 0 && e.line <= lines);
  }
  return 0;
}

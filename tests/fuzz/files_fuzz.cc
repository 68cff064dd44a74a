// The file readers on any bytes: they must answer, and every error is one line
// with a place inside the text.
#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "bench/files/readers.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto lines = std::count(text.begin(), text.end(), '\n') + 1;
  const tachproof::CheckedFile checked = tachproof::check_text("/nowhere/fuzz.yaml", text);
  for (const tachproof::FileError& e : checked.errors) {
    const bool one_line = tachproof::to_line(e).find_first_of("\r\n") == std::string::npos;
    if (!one_line || e.message.find("; ") == std::string::npos || e.line < 0 || e.line > lines) std::abort();
  }
  return 0;
}

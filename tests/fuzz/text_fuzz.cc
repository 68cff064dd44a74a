// Any bytes as text that is shown: fit for a terminal, a page and JSON, and shown twice the same.
#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "tests/fuzz/fuzz.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace tachproof;
  const std::string_view text = fuzz::text_of(data, size);
  fuzz::require_fit_for_a_line(shown(text));
  fuzz::require_fit_for_a_line(printable(text));
  fuzz::require(escaped(text).find_first_of("<>\"'") == std::string::npos);
  fuzz::require(valid_utf8(valid_utf8(text)) == valid_utf8(text));
  const std::string json = json_text(Json{{"text", std::string(text)}});
  fuzz::require_fit_for_a_line(json);
  fuzz::require(Json::parse(json)["text"] == valid_utf8(text));
  return 0;
}

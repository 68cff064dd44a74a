// Forms with files (multipart/form-data, RFC 7578), read to the letter.
#pragma once

#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace tachproof {

struct FormPart {
  std::string name;
  std::string file_name;  // as the browser says it; empty for a plain field
  bool is_file = false;
  std::string_view body;  // of what was parsed: it must outlive this
};

// The parts, at most `most`, or a sentence that says why there are none.
std::variant<std::vector<FormPart>, std::string> parts_of_form(std::string_view content_type,
                                                               std::string_view body, std::size_t most);

}  // namespace tachproof

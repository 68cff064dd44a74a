// What a form of a gauge would be as a file, and what the program's own reader says of it, field by field.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/files/files.h"
#include "bench/page/gauge_form.h"

namespace tachproof {

struct CheckedForm {
  std::string text;  // of the file, with the form's values
  std::vector<FileError> errors;
  std::map<std::string, std::vector<std::string>> at_field;  // field and sentences
  std::vector<std::string> elsewhere;                        // lines of errors that belong to no field
  std::optional<Gauge> gauge;                                // where nothing is wrong
  std::vector<std::string> lost_comments;                    // of the file as it was
};

// `file`: as errors call it; `saved`: its text, empty for a new one.
CheckedForm checked(const GaugeForm& form, const std::string& file, std::string_view saved);

}  // namespace tachproof

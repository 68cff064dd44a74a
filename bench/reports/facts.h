// A list of names and values in report.html.
#pragma once

#include <string>

namespace tachproof {

class Facts {
 public:
  // Nothing for an empty value.
  void add(const char* name, const std::string& value, bool wide = false);
  // "not stated" for an empty value.
  void state(const char* name, const std::string& value, bool wide = false);
  void add_code(const std::string& name, const std::string& value);
  std::string html() const;  // "" when there are none

 private:
  void row(const std::string& name, const std::string& html, bool wide);
  std::string rows_;
};

}  // namespace tachproof

// A list of names and values in report.html.
#pragma once

#include <string>
#include <vector>

namespace tachproof {

class Facts {
 public:
  // Nothing for an empty value.
  void add(const char* name, const std::string& value, bool wide = false);
  // What the shop states; an empty value is one of missing().
  void state(const char* name, const std::string& value, bool wide = false);
  const std::vector<std::string>& missing() const { return missing_; }
  void add_code(const std::string& name, const std::string& value);
  std::string html() const;  // "" when there are none

 private:
  void row(const std::string& name, const std::string& html, bool wide);
  std::string rows_;
  std::vector<std::string> missing_;
};

}  // namespace tachproof

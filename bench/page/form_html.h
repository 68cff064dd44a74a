// Fields of a form, each with its label and, where something is wrong, the sentence beneath it.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace tachproof {

class FormHtml {
 public:
  using Options = std::vector<std::pair<std::string, std::string>>;  // value and what a person reads
  explicit FormHtml(const std::map<std::string, std::vector<std::string>>& wrong) : wrong_(wrong) {}

  // `hint`: what may stand there, in words; `style`: a class of the field.
  std::string text(const std::string& name, std::string_view label, std::string_view value,
                   std::string_view style = "", std::string_view hint = "") const;
  std::string area(const std::string& name, std::string_view label, std::string_view value, int rows) const;
  // A value that is none of the options stays one.
  std::string choice(const std::string& name, std::string_view label, std::string_view value, Options options,
                     std::string_view style = "") const;
  static std::string hidden(const std::string& name, std::string_view value);
  // A button that sends the form with do=`what`.
  static std::string button(const std::string& what, std::string_view label, std::string_view style = "",
                            std::string_view spoken = "");

 private:
  std::string field(const std::string& name, std::string_view label, const std::string& control,
                    std::string_view style, std::string_view hint = "") const;
  std::string attributes(const std::string& name, bool hinted = false) const;

  const std::map<std::string, std::vector<std::string>>& wrong_;
};

}  // namespace tachproof

#include "bench/page/form_html.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/record/text.h"

namespace tachproof {

std::string FormHtml::attributes(const std::string& name, bool hinted) const {
  std::string described = hinted ? "hint-" + name : "";
  const bool wrong = wrong_.contains(name);
  if (wrong) described += (described.empty() ? "" : " ") + ("error-" + name);
  return fmt::format("id=\"{0}\" name=\"{0}\"{1}{2}", name, wrong ? " aria-invalid=\"true\"" : "",
                     described.empty() ? "" : " aria-describedby=\"" + described + "\"");
}

std::string FormHtml::field(const std::string& name, std::string_view label, const std::string& control,
                            std::string_view style, std::string_view hint) const {
  std::string html = fmt::format("<div class=\"field{}{}\"><label for=\"{}\">{}</label>{}",
                                 style.empty() ? "" : " ", style, name, escaped(label), control);
  if (!hint.empty()) html += fmt::format("<p class=\"hint\" id=\"hint-{}\">{}</p>", name, escaped(hint));
  if (const auto found = wrong_.find(name); found != wrong_.end()) {
    html += fmt::format("<p class=\"wrong\" id=\"error-{}\">", name);
    for (const std::string& sentence : found->second) html += escaped(sentence) + "<br>";
    html += "</p>";
  }
  return html + "</div>\n";
}

std::string FormHtml::text(const std::string& name, std::string_view label, std::string_view value,
                           std::string_view style, std::string_view hint) const {
  const std::string control =
      fmt::format("<input {} value=\"{}\" autocomplete=\"off\" autocapitalize=\"off\" spellcheck=\"false\">",
                  attributes(name, !hint.empty()), escaped(value));
  return field(name, label, control, style, hint);
}

std::string FormHtml::area(const std::string& name, std::string_view label, std::string_view value,
                           int rows) const {
  // Lines stay lines: each is escaped by itself.
  std::string lines;
  while (!value.empty()) {
    const std::size_t end = std::min(value.find('\n'), value.size());
    lines += escaped(value.substr(0, end)) + "\n";
    value.remove_prefix(std::min(end + 1, value.size()));
  }
  return field(
      name, label,
      fmt::format("<textarea {} rows=\"{}\" spellcheck=\"false\" autocapitalize=\"off\">\n{}</textarea>",
                  attributes(name), rows, lines),
      "wide");
}

std::string FormHtml::choice(const std::string& name, std::string_view label, std::string_view value,
                             Options options, std::string_view style) const {
  if (std::none_of(options.begin(), options.end(), [&](const auto& option) { return option.first == value; }))
    options.emplace_back(value, value);
  std::string list;
  for (const auto& [sent, read] : options)
    list += fmt::format("<option value=\"{}\"{}>{}</option>", escaped(sent), sent == value ? " selected" : "",
                        escaped(read));
  return field(name, label, fmt::format("<select {}>{}</select>", attributes(name), list), style);
}

std::string FormHtml::hidden(const std::string& name, std::string_view value) {
  return fmt::format("<input type=\"hidden\" name=\"{}\" value=\"{}\">\n", name, escaped(value));
}

std::string FormHtml::button(const std::string& what, std::string_view label, std::string_view style,
                             std::string_view spoken) {
  return fmt::format("<button name=\"do\" value=\"{}\"{}{}>{}</button>\n", what,
                     style.empty() ? "" : fmt::format(" class=\"{}\"", style),
                     spoken.empty() ? "" : fmt::format(" aria-label=\"{}\"", escaped(spoken)),
                     escaped(label));
}

}  // namespace tachproof

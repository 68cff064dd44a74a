#include "bench/reports/facts.h"

#include <fmt/format.h>

#include "bench/record/text.h"

namespace tachproof {

void Facts::row(const std::string& name, const std::string& html, bool wide) {
  rows_ += fmt::format("<div{}><dt>{}</dt><dd>{}</dd></div>\n", wide ? " class=\"wide\"" : "", escaped(name),
                       html);
}

void Facts::add(const char* name, const std::string& value, bool wide) {
  if (!value.empty()) row(name, escaped(value), wide);
}

void Facts::state(const char* name, const std::string& value, bool wide) {
  row(name, value.empty() ? "<i>not stated</i>" : escaped(value), wide);
}

void Facts::add_code(const std::string& name, const std::string& value) {
  row(name, "<code>" + escaped(value) + "</code>", true);
}

std::string Facts::html() const { return rows_.empty() ? "" : "<dl>\n" + rows_ + "</dl>\n"; }

}  // namespace tachproof

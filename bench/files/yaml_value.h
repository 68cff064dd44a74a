// A value that YAML text is to have, as a program makes it; and as a person would write it.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "bench/files/yaml_tree.h"

namespace tachproof {

struct YamlValue {
  struct Entry;
  // `raw`: an entry of the outermost mapping as it stands in a file, key, lines, comments and all.
  enum class Kind { nothing, scalar, list, mapping, raw };
  Kind kind = Kind::nothing;
  std::string text;  // of a scalar; of raw: the lines
  std::vector<YamlValue> items;
  std::vector<Entry> entries;  // of a mapping

  static YamlValue scalar(std::string text);
  static YamlValue list();
  static YamlValue mapping();
  static YamlValue raw(std::string lines);
  void add(std::string key, YamlValue value);
};

struct YamlValue::Entry {
  std::string key;
  YamlValue value;
};

// Whether the file says that, in whatever order the keys of a mapping are. What is raw is not compared.
bool says(const YamlNode& node, const YamlValue& value);
YamlValue value_of(const YamlNode& node);

// Without quotes where that reads back as the same text, also inside of braces.
std::string scalar_text(std::string_view text);
// On one line: "{name: quiet, from: 0, show: {}}".
std::string flow_text(const YamlValue& value);
// An entry of the outermost mapping, with its lines' ends: a list of lists or mappings has a line for each.
std::string entry_text(const std::string& key, const YamlValue& value);
// The whole of a file.
std::string file_text(const YamlValue& mapping);

}  // namespace tachproof

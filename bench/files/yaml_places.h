// Where the values of a YAML tree begin and end in their text, in bytes.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/files/yaml_tree.h"

namespace tachproof {

class YamlPlaces {
 public:
  // `text` without a byte order mark; it outlives this.
  explicit YamlPlaces(std::string_view text);

  std::size_t begin(const YamlNode& node) const;
  // Behind its last character; nothing where that cannot be told: text over several lines, nothing at all.
  std::optional<std::size_t> end(const YamlNode& node) const;
  std::size_t line_begin(std::size_t offset) const;
  std::size_t line_end(std::size_t offset) const;  // behind the line's end
  // In braces or brackets.
  bool is_flow(const YamlNode& node) const;
  // How far a key or an item's dash is from the left; nothing where more than blanks stands before it.
  std::optional<std::size_t> indent(std::size_t offset) const;
  // The offset of the dash before an item of a list that has a line for each.
  std::optional<std::size_t> dash(const YamlNode& item) const;

 private:
  std::optional<std::size_t> closing(std::size_t open) const;
  std::optional<std::size_t> quote_end(std::size_t open) const;

  std::string_view text_;
  std::vector<std::size_t> starts_{0};
};

// Every comment of a file, from its '#' to the end of the line.
std::vector<std::string> yaml_comments(std::string_view text);

}  // namespace tachproof

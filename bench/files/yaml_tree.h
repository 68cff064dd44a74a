// YAML text as a tree with places, for the readers to walk. The only part of
// the program that knows the YAML library.
//
// The library is lenient; what it lets pass is refused here: more than one
// document, tags, keys that are no text, quotes that never close, nesting
// beyond max_depth, mappings of more than max_keys keys, and more than max_nodes nodes with every alias
// expanded (a few hundred bytes of aliases can stand for 10^9 values).
#pragma once

#include <cstddef>
#include <deque>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/files/errors.h"

namespace tachproof {

struct YamlNode {
  enum class Kind { nothing, scalar, list, mapping };
  struct Entry {
    const YamlNode* key = nullptr;  // a scalar
    const YamlNode* value = nullptr;
  };
  Kind kind = Kind::nothing;
  Place at;
  bool quoted = false;  // a scalar in quotes, or a block: never a number
  std::string text;     // scalar
  std::vector<const YamlNode*> items;
  std::vector<Entry> entries;  // file order, repeated keys and all
};

struct YamlTree {
  std::deque<YamlNode> nodes;  // the tree points into this; aliases share nodes
  const YamlNode* root = nullptr;
};

inline constexpr std::size_t max_file_bytes = 4 * 1024 * 1024;
inline constexpr std::size_t max_nodes = 1'000'000;
inline constexpr std::size_t max_depth = 64;
inline constexpr std::size_t max_keys = 256;  // of one mapping: keys are looked up one by one

// Nothing, and an error in the list, when the file cannot be read at all.
std::optional<std::string> read_file(const std::filesystem::path& file, ErrorList& errors);
std::optional<YamlTree> parse_yaml(std::string_view text, ErrorList& errors);

}  // namespace tachproof

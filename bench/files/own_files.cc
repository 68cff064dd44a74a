#include "bench/files/own_files.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <stdexcept>
#include <string>
#include <system_error>

#include "bench/files/regular_file.h"
#include "bench/files/yaml_tree.h"
#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

// The keys whose value is the path of a file that the readers open.
bool names_a_file(const std::string& key) { return key == "recording" || key == "unit"; }

void look_for_names(const YamlNode& node, ErrorList& errors) {
  for (const YamlNode::Entry& entry : node.entries) {
    const YamlNode& value = *entry.value;
    if (value.kind == YamlNode::Kind::scalar && names_a_file(entry.key->text) && !is_plain_name(value.text))
      errors.add(value.at,
                 fmt::format("'{}' is '{}', which is not of this folder, and nothing else is opened",
                             entry.key->text, on_one_line(value.text)),
                 "the name of a file beside this one");
    look_for_names(value, errors);
  }
  for (const YamlNode* item : node.items) look_for_names(*item, errors);
}

}  // namespace

void require_plain_entries(const std::filesystem::path& folder) {
  std::error_code error;
  for (const auto& entry : std::filesystem::directory_iterator(folder, error))
    if (const std::optional<std::string> odd = odd_kind(entry.path()))
      throw std::runtime_error(fmt::format(
          "{} is {}: the folder of a run or a suite holds only files of its own, so nothing in it "
          "is read; take it away, or put the file itself in its place",
          shown(entry.path().string()), *odd));
}

bool is_plain_name(std::string_view name) {
  return !name.empty() && name != "." && name != ".." && name.find('/') == std::string_view::npos &&
         name.find('\0') == std::string_view::npos;
}

bool stays_inside(const std::filesystem::path& below) {
  if (below.empty() || below.is_absolute()) return false;
  return std::none_of(below.begin(), below.end(), [](const auto& part) { return part == ".."; });
}

void require_no_other_folder(const std::filesystem::path& yaml) {
  ErrorList unread(yaml.string());
  const std::optional<std::string> text = read_file(yaml, unread);
  if (!text) return;
  const std::optional<YamlTree> tree = parse_yaml(*text, unread);
  if (!tree) return;
  ErrorList errors(yaml.string());
  look_for_names(*tree->root, errors);
  errors.throw_if_any();
}

}  // namespace tachproof

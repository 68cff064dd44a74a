// JSON is YAML: every file that ships reads the same when a program has written it as JSON,
// all texts in quotes and everything in braces.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "bench/files/files.h"
#include "bench/files/yaml_tree.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

bool looks_like_a_number(const std::string& text) {
  return !text.empty() && nlohmann::json::accept(text) && nlohmann::json::parse(text).is_number();
}

std::string as_json(const YamlNode& node) {
  switch (node.kind) {
    case YamlNode::Kind::nothing: return "null";
    case YamlNode::Kind::scalar:
      if (!node.quoted && (node.text == "true" || node.text == "false" || looks_like_a_number(node.text)))
        return node.text;
      if (!node.quoted && node.text.starts_with("+") && looks_like_a_number(node.text.substr(1)))
        return node.text.substr(1);
      return nlohmann::json(node.text).dump();
    case YamlNode::Kind::list: {
      std::string out;
      for (const YamlNode* item : node.items) out += (out.empty() ? "" : ", ") + as_json(*item);
      return "[" + out + "]";
    }
    case YamlNode::Kind::mapping: {
      std::string out;
      for (const YamlNode::Entry& entry : node.entries)
        out +=
            (out.empty() ? "" : ", ") + nlohmann::json(entry.key->text).dump() + ": " + as_json(*entry.value);
      return "{" + out + "}";
    }
  }
  return "";
}

TEST(JsonFiles, EveryShippedFileReadsTheSameWhenWrittenAsJson) {
  // A copy: what a file names is looked for from where it is.
  const fs::path source = TACHPROOF_SOURCE_DIR, copy = fs::path(testing::TempDir()) / "tachproof-json-files";
  fs::remove_all(copy);
  fs::create_directories(copy);
  for (const char* folder : {"fixtures", "scenarios"})
    fs::copy(source / folder, copy / folder,
             fs::copy_options::recursive | fs::copy_options::overwrite_existing);
  int files = 0;
  for (const char* folder : {"fixtures", "scenarios"})
    for (const fs::directory_entry& entry : fs::recursive_directory_iterator(copy / folder)) {
      if (entry.path().extension() != ".yaml") continue;
      const CheckedFile before = check_file(entry.path());
      ErrorList errors(entry.path());
      const std::optional<std::string> text = read_file(entry.path(), errors);
      ASSERT_TRUE(text) << entry.path();
      const std::optional<YamlTree> tree = parse_yaml(*text, errors);
      ASSERT_TRUE(tree) << entry.path();
      std::ofstream(entry.path()) << as_json(*tree->root);
      const CheckedFile after = check_file(entry.path());
      EXPECT_EQ(before.kind, after.kind) << entry.path();
      EXPECT_EQ(before.errors.size(), after.errors.size()) << entry.path();
      if (before.errors.empty())
        for (const FileError& error : after.errors) ADD_FAILURE() << entry.path() << ": " << error.message;
      ++files;
    }
  EXPECT_GT(files, 10);
  fs::remove_all(copy);
}

}  // namespace
}  // namespace tachproof

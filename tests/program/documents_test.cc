// What a reader of the pages relies on: links lead somewhere, the first page is short.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>
#include <optional>
#include <regex>
#include <set>
#include <string>
#include <vector>

namespace tachproof {
namespace {

namespace fs = std::filesystem;

const fs::path sources = TACHPROOF_SOURCE_DIR;

std::vector<std::string> lines_of(const fs::path& page) {
  std::ifstream in(page);
  std::vector<std::string> lines;
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

// Every page of the sources: *.md outside of what is built, run or hidden.
std::vector<fs::path> pages() {
  std::vector<fs::path> found;
  for (auto entry = fs::recursive_directory_iterator(sources); entry != fs::recursive_directory_iterator();
       ++entry) {
    const std::string name = entry->path().filename();
    if (entry->is_directory() && (name.starts_with(".") || name.starts_with("build") || name == "runs"))
      entry.disable_recursion_pending();
    else if (entry->path().extension() == ".md")
      found.push_back(entry->path());
  }
  std::sort(found.begin(), found.end());
  return found;
}

// The page without its blocks of code; line numbers stay as they are.
std::vector<std::string> prose_of(const fs::path& page) {
  std::vector<std::string> lines = lines_of(page);
  bool fenced = false, above_is_blank = true, indented = false;
  for (std::string& line : lines) {
    const bool fence = line.starts_with("```");
    // Four blanks after a blank line begin a block, which lasts for as long as there are four.
    indented = line.starts_with("    ") && (indented || above_is_blank);
    above_is_blank = line.empty();
    if (fenced || fence || indented) line.clear();
    fenced = fenced != fence;
  }
  return lines;
}

std::string without_code(const std::string& line) {
  return std::regex_replace(line, std::regex("`[^`]*`"), "code");
}

// As the usual viewers make it of a heading: lower case, blanks to hyphens, other
// signs left out; the second of the same name gets -1.
std::set<std::string> anchors_of(const fs::path& page) {
  std::set<std::string> anchors;
  std::map<std::string, int> times;
  for (const std::string& line : prose_of(page)) {
    const std::size_t level = line.find_first_not_of('#');
    if (level == 0 || level == line.npos || line[level] != ' ') continue;
    std::string anchor;
    for (const char c : line.substr(level + 1)) {
      const auto byte = static_cast<unsigned char>(c);
      if (c == ' ')
        anchor += '-';
      else if (std::isalnum(byte) != 0 || c == '-' || c == '_' || byte >= 0x80)
        anchor += static_cast<char>(std::tolower(byte));
    }
    const int before = times[anchor]++;
    anchors.insert(before == 0 ? anchor : anchor + "-" + std::to_string(before));
  }
  return anchors;
}

struct Link {
  std::size_t line = 0;
  std::string target;
};

std::vector<Link> links_of(const fs::path& page) {
  static const std::regex inline_link(R"(\]\(([^)\s]+)\))"), named_target(R"(^\[[^\]]+\]:\s+(\S+))");
  std::vector<Link> links;
  const std::vector<std::string> lines = prose_of(page);
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const std::string line = without_code(lines[i]);
    for (const std::regex& pattern : {inline_link, named_target})
      for (std::sregex_iterator found(line.begin(), line.end(), pattern), end; found != end; ++found)
        links.push_back({i + 1, (*found)[1]});
  }
  return links;
}

// What is wrong with a link; nothing when it leads somewhere, or out of the sources.
std::optional<std::string> trouble_of(const fs::path& page, const std::string& target) {
  if (target.find("://") != target.npos || target.starts_with("mailto:")) return std::nullopt;
  const std::size_t hash = target.find('#');
  const std::string file = target.substr(0, hash);
  const fs::path to = file.empty() ? page : page.parent_path() / file;
  if (!fs::exists(to)) return "there is no such file";
  if (hash == target.npos) return std::nullopt;
  if (to.extension() != ".md") return "an anchor into what is no page";
  if (!anchors_of(to).contains(target.substr(hash + 1))) return "there is no such heading";
  return std::nullopt;
}

TEST(Documents, EveryLinkOfEveryPageLeadsToAFileAndAHeading) {
  std::size_t links = 0;
  for (const fs::path& page : pages())
    for (const Link& link : links_of(page)) {
      ++links;
      if (const auto trouble = trouble_of(page, link.target))
        ADD_FAILURE() << page.string() << ":" << link.line << ": " << link.target << ": " << *trouble;
    }
  EXPECT_GE(links, 60U);
}

TEST(Documents, ALinkToAFileOrAHeadingThatIsNotThereIsNoticed) {
  const fs::path page = sources / "README.md";
  EXPECT_EQ(trouble_of(page, "fixtures/README.md#words"), std::nullopt);
  EXPECT_EQ(trouble_of(page, "https://example.org/nowhere"), std::nullopt);
  EXPECT_EQ(trouble_of(page, "fixtures/NOWHERE.md"), "there is no such file");
  EXPECT_EQ(trouble_of(page, "fixtures/README.md#no-such-words"), "there is no such heading");
  EXPECT_EQ(trouble_of(page, "#no-such-words"), "there is no such heading");
}

TEST(Documents, TheReadmeIsShort) { EXPECT_LE(lines_of(sources / "README.md").size(), 250U); }

TEST(Documents, ProseForUsersHasAtMost120CharactersALine) {
  std::vector<fs::path> names{"README.md",
                              "fixtures/README.md",
                              "scenarios/README.md",
                              "bench/rigs/README.md",
                              "bench/firmware/README.md",
                              "bench/reports/README.md",
                              "core/README.md"};
  for (const fs::path& page : pages())  // a page for each kind of hardware
    if (page.parent_path().parent_path() == sources / "bench/rigs")
      names.push_back(fs::relative(page, sources));
  EXPECT_EQ(names.size(), 12U);
  for (const fs::path& name : names) {
    const std::vector<std::string> lines = prose_of(sources / name);
    for (std::size_t i = 0; i < lines.size(); ++i) {
      const auto characters = std::count_if(lines[i].begin(), lines[i].end(), [](char c) {
        return (static_cast<unsigned char>(c) & 0xc0) != 0x80;
      });
      if (lines[i].starts_with("|")) continue;  // a table
      EXPECT_LE(characters, 120) << name << ":" << i + 1;
    }
  }
}

// ---- promises name their tests ------------------------------------------------------

std::string whole(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

// "Suite.Name" of every test in the sources, and the names that CMake gives to whole programs.
std::set<std::string> names_of_tests() {
  static const std::regex in_source(R"(TEST(?:_F|_P)?\(\s*(\w+),\s*(\w+)\))"),
      property(R"(RC_GTEST(?:_FIXTURE)?_PROP\(\s*(\w+),\s*(\w+))"), program(R"(add_test\(NAME (\w+))"),
      fuzz(R"(\nfuzz_target\((\w+))");
  std::set<std::string> names;
  for (const auto& entry : fs::recursive_directory_iterator(sources / "tests")) {
    const bool cmake = entry.path().filename() == "CMakeLists.txt";
    if (!cmake && entry.path().extension() != ".cc") continue;
    const std::string text = whole(entry.path());
    const auto each = [&](const std::regex& pattern, const auto& name) {
      for (std::sregex_iterator found(text.begin(), text.end(), pattern), end; found != end; ++found)
        names.insert(name(*found));
    };
    const auto both = [](const std::smatch& m) { return m.str(1) + "." + m.str(2); };
    if (!cmake) {
      each(in_source, both);
      each(property, both);
    } else {
      each(program, [](const std::smatch& m) { return m.str(1); });
      each(fuzz, [](const std::smatch& m) { return m.str(1) + "_fuzz"; });
    }
  }
  return names;
}

// What a line names as tests: `Suite.Name`, `name_fuzz` and `sweep_name`.
std::vector<std::string> named_tests(const std::string& line) {
  static const std::regex quoted(R"(`([A-Z]\w*\.[A-Z]\w*|\w+_fuzz|sweep_\w+)`)");
  std::vector<std::string> names;
  for (std::sregex_iterator found(line.begin(), line.end(), quoted), end; found != end; ++found)
    names.push_back((*found)[1]);
  return names;
}

TEST(Documents, EveryPromiseAgainstAThreatNamesATestThatThereIs) {
  const fs::path page = sources / "bench/record/THREATS.md";
  const std::set<std::string> tests = names_of_tests();
  EXPECT_GT(tests.size(), 1000U);
  bool promises = false;
  int rows = 0;
  for (const std::string& line : lines_of(page)) {
    if (!line.starts_with("|"))
      promises = false;
    else if (line.starts_with("| promised |"))
      promises = true;
    const std::vector<std::string> named = named_tests(line);
    if (promises && !line.starts_with("| promised |") && !line.starts_with("| ---")) {
      ++rows;
      EXPECT_FALSE(named.empty()) << "a promise without a test: " << line;
    }
    for (const std::string& name : named)
      if (name != "Suite.Name") {
        EXPECT_TRUE(tests.contains(name)) << "there is no test " << name;
      }
  }
  EXPECT_GT(rows, 30);
}

}  // namespace
}  // namespace tachproof

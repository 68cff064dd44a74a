// What the pages for users show, as it stands there: their files are written, their
// commands run, and what they show of the output is compared. `...` stands for lines
// that are left out.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <sstream>

#include "tests/bench/scratch_folder.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

std::vector<std::string> lines_of(std::istream&& text) {
  std::vector<std::string> lines;
  for (std::string line; std::getline(text, line);) lines.push_back(line);
  return lines;
}

struct Command {
  std::vector<std::string> words;
  int status = 0;
  std::vector<std::string> shown;
};

// "$ tachproof check a.yaml   # exit status 1"
Command command_of(const std::string& line) {
  Command command;
  const std::size_t comment = line.find('#');
  std::istringstream words(line.substr(1, comment == line.npos ? comment : comment - 1));
  for (std::string word; words >> word;) command.words.push_back(word);
  if (comment != line.npos) command.status = std::stoi(line.substr(line.find_last_of(' ')));
  return command;
}

void expect_shown(const std::vector<std::string>& shown, const std::vector<std::string>& printed) {
  std::size_t at = 0;
  bool gap = false;
  for (const std::string& line : shown) {
    if (line == "...") {
      gap = true;
      continue;
    }
    while (gap && at < printed.size() && printed[at] != line) ++at;
    ASSERT_LT(at, printed.size()) << "never printed: " << line;
    ASSERT_EQ(printed[at], line);
    ++at;
    gap = false;
  }
  if (!gap && at < printed.size()) ADD_FAILURE() << "printed, but not shown: " << printed[at];
}

const std::filesystem::path sources = TACHPROOF_SOURCE_DIR;

// Every page of the sources, outside of what is built, run or hidden.
std::vector<std::string> all_pages() {
  std::vector<std::string> pages;
  for (auto entry = std::filesystem::recursive_directory_iterator(sources);
       entry != std::filesystem::recursive_directory_iterator(); ++entry) {
    const std::string name = entry->path().filename();
    if (entry->is_directory() && (name.starts_with(".") || name.starts_with("build") || name == "runs"))
      entry.disable_recursion_pending();
    else if (entry->path().extension() == ".md")
      pages.push_back(std::filesystem::relative(entry->path(), sources));
  }
  return pages;
}

// `page` of the sources, followed in a folder of its own.
class ShownPage {
 public:
  // `folders` of the sources are in that folder as well.
  explicit ShownPage(const std::string& page, const std::vector<std::string>& folders = {})
      : lines_(lines_of(std::ifstream(sources / page))) {
    for (const std::string& folder : folders)
      std::filesystem::create_directory_symlink(sources / folder, scratch_ / folder);
  }

  // A file's name stands alone, in back quotes, before its block.
  void follow() {
    std::string file;
    for (at_ = 0; at_ < lines_.size(); ++at_) {
      const std::string& line = lines_[at_];
      if (line.size() > 2 && line.front() == '`' && line.find('`', 1) == line.size() - 1)
        file = line.substr(1, line.size() - 2);
      if (line == "```yaml" || line == "```json")
        write(file);
      else if (line == "```console")
        for (const Command& command : commands()) run(command);
    }
  }

  int commands_run() const { return commands_run_; }
  int files_written() const { return files_written_; }

 private:
  void write(const std::string& file) {
    std::string text;
    while (lines_.at(++at_) != "```") text += lines_[at_] + "\n";
    ASSERT_FALSE(file.empty()) << "a file without a name";
    scratch_.write(file, text);
    ++files_written_;
  }

  // A command whose line ends with a backslash goes on in the next one.
  std::vector<Command> commands() {
    std::vector<Command> commands;
    while (lines_.at(++at_) != "```") {
      std::string line = lines_[at_];
      if (!line.starts_with("$")) {
        commands.back().shown.push_back(line);
        continue;
      }
      while (line.ends_with("\\")) line = line.substr(0, line.size() - 1) + lines_.at(++at_);
      commands.push_back(command_of(line));
    }
    return commands;
  }

  void run(const Command& command) {
    ASSERT_EQ(command.words.at(0), "tachproof");
    std::vector<std::string> words = command.words;
    words[0] = TACHPROOF_PROGRAM;
    const Finished finished = run_process(words, scratch_.path());
    SCOPED_TRACE(testing::PrintToString(command.words) + "\n" + finished.out + finished.err);
    EXPECT_EQ(finished.status, command.status);
    // What a person sees of a command that is refused is its complaint.
    expect_shown(command.shown,
                 lines_of(std::istringstream(finished.out.empty() ? finished.err : finished.out)));
    ++commands_run_;
  }

  std::vector<std::string> lines_;
  std::size_t at_ = 0;
  ScratchFolder scratch_;
  int commands_run_ = 0, files_written_ = 0;
};

TEST(Tour, OfTheReadmeRunsAsWritten) {
  ShownPage page("README.md");
  page.follow();
  EXPECT_GE(page.commands_run(), 6);
  EXPECT_GE(page.files_written(), 5);
}

// The sources' folder is where a reader is; what is written goes into a folder of the test's own.
const std::vector<std::string> as_in_the_sources{"fixtures", "scenarios"};

TEST(Tour, OfTheFilesRunsAsWritten) {
  ShownPage page("fixtures/README.md", as_in_the_sources);
  page.follow();
  EXPECT_GE(page.commands_run(), 2);
  EXPECT_GE(page.files_written(), 1);
}

TEST(Tour, OfScenariosRunsAsWritten) {
  ShownPage page("scenarios/README.md", as_in_the_sources);
  page.follow();
  EXPECT_GE(page.commands_run(), 6);
  EXPECT_GE(page.files_written(), 1);
}

TEST(Tour, OfTheHardwareRunsAsWrittenWhereItNeedsNone) {
  ShownPage page("bench/rigs/README.md", as_in_the_sources);
  page.follow();
  EXPECT_GE(page.commands_run(), 1);
}

class HardwareTour : public testing::TestWithParam<const char*> {};

TEST_P(HardwareTour, RunsAsWrittenWhereItNeedsNone) {
  ShownPage page(std::string("bench/rigs/") + GetParam() + "/README.md", as_in_the_sources);
  page.follow();
  EXPECT_GE(page.commands_run(), 1);
  EXPECT_GE(page.files_written(), 1);
}

constexpr const char* kinds_with_a_page[]{"board", "camera", "gpio", "scpi", "simulated"};
INSTANTIATE_TEST_SUITE_P(OfEachKind, HardwareTour, testing::ValuesIn(kinds_with_a_page),
                         [](const auto& kind) { return std::string(kind.param); });

TEST(Tour, OfReportsRunsAsWritten) {
  ShownPage page("bench/reports/README.md", as_in_the_sources);
  page.follow();
  EXPECT_GE(page.commands_run(), 7);
}

TEST(Tour, EveryPageThatShowsFilesOrCommandsIsFollowed) {
  std::set<std::string> followed{"README.md", "fixtures/README.md", "scenarios/README.md",
                                 "bench/rigs/README.md", "bench/reports/README.md"};
  for (const char* kind : kinds_with_a_page)
    followed.insert(std::string("bench/rigs/") + kind + "/README.md");
  std::set<std::string> showing;
  for (const std::string& page : all_pages())
    for (const std::string& line : lines_of(std::ifstream(sources / page)))
      if (line == "```yaml" || line == "```json" || line == "```console") showing.insert(page);
  EXPECT_EQ(showing, followed);
}

// "    tachproof run S --gauge G \" and the lines it goes on in, without the comment; from a block of code
// that is not run, because it needs hardware or a file of the reader's own.
std::vector<std::string> commands_not_run(const std::string& page) {
  std::vector<std::string> commands;
  const std::vector<std::string> lines = lines_of(std::ifstream(sources / page));
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const std::size_t at = lines[i].find_first_not_of(' ');
    if (at == std::string::npos || at < 4) continue;
    std::string command = lines[i].substr(at);
    if (command.starts_with("build/bench/")) command.erase(0, std::string("build/bench/").size());
    if (!command.starts_with("tachproof ")) continue;
    while (command.ends_with("\\") && i + 1 < lines.size())
      command = command.substr(0, command.size() - 1) + lines[++i];
    commands.push_back(command.substr(0, command.find('#')));
  }
  return commands;
}

TEST(Tour, CommandsThatCannotBeRunHereNameCommandsAndOptionsThatThereAre) {
  std::map<std::string, std::string> help;
  const ScratchFolder scratch;
  int commands = 0;
  for (const std::string& page : all_pages())
    for (const std::string& line : commands_not_run(page)) {
      SCOPED_TRACE(page + ": " + line);
      std::istringstream words(line);
      std::string word, command;
      words >> word >> command;
      if (!help.contains(command)) {
        const Finished asked = run_process({TACHPROOF_PROGRAM, command, "--help"}, scratch.path());
        EXPECT_EQ(asked.status, 0);
        help[command] = asked.out;
      }
      while (words >> word)
        EXPECT_TRUE(!word.starts_with("--") || help[command].find(word) != std::string::npos) << word;
      ++commands;
    }
  EXPECT_GE(commands, 25);
}

}  // namespace
}  // namespace tachproof

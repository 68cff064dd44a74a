// The README's tour, as it stands there: its files are written, its commands
// run, and what it shows of their output is compared. `...` stands for lines
// that are left out.
#include <gtest/gtest.h>

#include <fstream>
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

class Tour : public testing::Test {
 protected:
  void run(const Command& command) {
    ASSERT_EQ(command.words.at(0), "tachproof");
    std::vector<std::string> words = command.words;
    words[0] = TACHPROOF_PROGRAM;
    const Finished finished = run_process(words, scratch_.path());
    SCOPED_TRACE(testing::PrintToString(command.words) + "\n" + finished.out + finished.err);
    EXPECT_EQ(finished.status, command.status);
    expect_shown(command.shown, lines_of(std::istringstream(finished.out)));
    ++commands_run_;
  }

  // A file's name stands alone, in back quotes, before its block.
  void follow(const std::vector<std::string>& readme) {
    std::string file;
    for (std::size_t i = 0; i < readme.size(); ++i) {
      const std::string& line = readme[i];
      if (line.size() > 2 && line.front() == '`' && line.find('`', 1) == line.size() - 1)
        file = line.substr(1, line.size() - 2);
      if (line == "```yaml") {
        std::string text;
        while (readme.at(++i) != "```") text += readme[i] + "\n";
        scratch_.write(file, text);
      } else if (line == "```console") {
        std::vector<Command> commands;
        while (readme.at(++i) != "```") {
          if (readme[i].starts_with("$"))
            commands.push_back(command_of(readme[i]));
          else
            commands.back().shown.push_back(readme[i]);
        }
        for (const Command& command : commands) run(command);
      }
    }
  }

  ScratchFolder scratch_;
  int commands_run_ = 0;
};

TEST_F(Tour, OfTheReadmeRunsAsWritten) {
  follow(lines_of(std::ifstream(TACHPROOF_SOURCE_DIR "/README.md")));
  EXPECT_GE(commands_run_, 6);
}

}  // namespace
}  // namespace tachproof

#include "tests/bench/files_cases.h"

#include <algorithm>
#include <fstream>
#include <stdexcept>

namespace tachproof {
namespace {

class CaseReader {
 public:
  std::vector<FileCase> read(const std::string& path) {
    std::ifstream in(path);
    if (!in) throw std::runtime_error("cannot read " + path);
    for (std::string line; std::getline(in, line);) {
      if (line.starts_with("=== "))
        begin(line.substr(4));
      else if (!line.empty())
        edit(line[0], line.substr(1));
    }
    finish();
    return std::move(cases_);
  }

 private:
  void begin(const std::string& title) {
    finish();
    case_ = {title, "", {}};
    lines_ = base_;
    at_ = lines_.size();
  }

  void edit(char what, const std::string& line) {
    switch (what) {
      case '|': base_.push_back(line); break;
      case '-': {
        const auto found = std::find(lines_.begin(), lines_.end(), line);
        if (found == lines_.end()) throw std::runtime_error(case_.title + ": no line '" + line + "'");
        at_ = static_cast<std::size_t>(lines_.erase(found) - lines_.begin());
        break;
      }
      case '+': lines_.insert(lines_.begin() + static_cast<std::ptrdiff_t>(at_++), line); break;
      case '>': case_.errors.push_back(line); break;
      case '?': break;
      default: throw std::runtime_error(case_.title + ": '" + what + line + "'");
    }
  }

  void finish() {
    if (case_.title.empty() || case_.title == "base") return;
    for (const std::string& line : lines_) case_.text += line + "\n";
    cases_.push_back(case_);
  }

  std::vector<std::string> base_;
  std::vector<std::string> lines_;
  std::size_t at_ = 0;
  FileCase case_;
  std::vector<FileCase> cases_;
};

}  // namespace

std::string source_path(const std::string& below) { return std::string(TACHPROOF_SOURCE_DIR) + "/" + below; }

std::vector<FileCase> file_cases(const std::string& name) {
  return CaseReader().read(source_path("tests/bench/cases/" + name + ".cases"));
}

std::string case_text(const std::string& name, const std::string& title) {
  for (const FileCase& c : file_cases(name))
    if (c.title == title) return c.text;
  throw std::runtime_error("no case '" + title + "'");
}

}  // namespace tachproof

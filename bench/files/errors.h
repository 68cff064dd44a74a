// Collects what is wrong with one file, so that a person sees all of it at once.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "bench/files/files.h"

namespace tachproof {

struct Place {
  int line = 0;  // from 1, as is the column (counted in characters, not bytes)
  int column = 0;
};

class ErrorList {
 public:
  explicit ErrorList(std::string file) : file_(std::move(file)) {}

  // The line that the user gets is "file:line:column: found; allowed", fit for a terminal whatever is in it.
  void add(Place at, const std::string& found, const std::string& allowed);
  // A key that is unknown or repeated: an error, but the values around it can
  // still be judged.
  void add_key(Place at, const std::string& found, const std::string& allowed);
  // Errors of another file that this one names; they follow this file's own.
  void add_other(const std::vector<FileError>& errors);

  const std::string& file() const { return file_; }
  bool empty() const { return own_.empty() && others_.empty(); }
  std::size_t values() const { return values_; }  // errors that spoil a value

  // By line and column, each once; the first `most` and a word about the rest.
  std::vector<FileError> sorted() const;
  void throw_if_any() const;

  static constexpr std::size_t most = 100;

 private:
  std::string file_;
  std::vector<FileError> own_;
  std::vector<FileError> others_;
  std::size_t values_ = 0;
};

// The text on one line, as core/base/foreign_text.h shows it: control characters and line ends as
// \n, \t or \x1b; cut after 60 characters.
std::string on_one_line(std::string_view text);

}  // namespace tachproof

// Good and bad files as edits of a base; see tests/bench/cases/README.md.
#pragma once

#include <string>
#include <vector>

namespace tachproof {

struct FileCase {
  std::string title;
  std::string text;
  std::vector<std::string> errors;  // "line:column: message"; none: a good file
};

// From tests/bench/cases/. Throws std::runtime_error for an edit that does not
// fit the base.
std::vector<FileCase> file_cases(const std::string& name);
std::string case_text(const std::string& name, const std::string& title);
std::string source_path(const std::string& below);

}  // namespace tachproof

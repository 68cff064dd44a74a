#include "bench/files/named_files.h"

#include <fmt/format.h>

#include <algorithm>
#include <string_view>

#include "bench/files/regular_file.h"

namespace tachproof {

const std::string* NamedFiles::read(const std::string& name, const std::string& role, std::size_t most_bytes,
                                    int line, std::string& trouble) {
  const auto of_role = [&](const NamedFile& f) { return f.kept_as.starts_with(role + "-"); };
  const auto known = std::find_if(files_.begin(), files_.end(),
                                  [&](const NamedFile& f) { return of_role(f) && f.name == name; });
  if (known != files_.end()) {
    known->lines.push_back(line);
    return &known->bytes;
  }
  const auto number = std::count_if(files_.begin(), files_.end(), of_role) + 1;
  const std::string kept_as = fmt::format("{}-{}.csv", role, number);
  const bool of_run = copies_ == Copies::in_the_run_folder;
  const std::filesystem::path path = folder_ / (of_run ? kept_as : name);
  if (!is_there(path)) {
    trouble =
        of_run ? fmt::format("no {} in the run folder, which is what the run kept of it; a whole run folder",
                             kept_as)
               : "no such file; the path of an existing file, from the folder of this one";
    return nullptr;
  }
  try {
    RegularFile file(path, of_run ? RegularFile::Links::refuse : RegularFile::Links::follow);
    if (file.size() > most_bytes) {
      trouble = fmt::format("a file of {} MB; at most {} MB", file.size() >> 20, most_bytes >> 20);
      return nullptr;
    }
    files_.push_back({name, kept_as, file.all(most_bytes), {line}});
  } catch (const NotReadable& e) {
    trouble =
        fmt::format("cannot be read: {}; the path of an existing file, from the folder of this one", e.why);
    return nullptr;
  }
  return &files_.back().bytes;
}

std::string naming_the_copies(const std::string& text, const std::vector<NamedFile>& files) {
  const auto ends = [](char c) {
    return std::string_view(",}]'\"# \t\r\n").find(c) != std::string_view::npos;
  };
  const auto begins = [](char c) { return std::string_view(" \t'\":{[,").find(c) != std::string_view::npos; };
  std::string out;
  int line = 1;
  for (std::size_t at = 0; at < text.size();) {
    // The whole word only, in a line that names the file.
    const auto named = std::find_if(files.begin(), files.end(), [&](const NamedFile& file) {
      const std::size_t after = at + file.name.size();
      return !file.name.empty() && text.compare(at, file.name.size(), file.name) == 0 &&
             (at == 0 || begins(text[at - 1])) && (after == text.size() || ends(text[after])) &&
             std::find(file.lines.begin(), file.lines.end(), line) != file.lines.end();
    });
    if (named != files.end()) {
      out += named->kept_as;
      at += named->name.size();
      continue;
    }
    if (text[at] == '\n') ++line;
    out += text[at++];
  }
  return out;
}

}  // namespace tachproof

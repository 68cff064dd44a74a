// The files that a scenario names: rpm logs that it replays, the recording of its noise. Each is
// read once, so that what was checked is what is played, kept and hashed.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "bench/files/files.h"

namespace tachproof {

class NamedFiles {
 public:
  enum class Copies {
    beside_the_scenario,  // the paths are relative to the scenario's folder
    in_the_run_folder     // by their order: a run folder holds them under names of its own
  };
  NamedFiles(std::filesystem::path folder, Copies copies) : folder_(std::move(folder)), copies_(copies) {}

  // The file's bytes, or null and a sentence "found; allowed" in `trouble`. `role` begins the name
  // of the copy, such as "log" of log-1.csv. A reference is good until the next call.
  // `line`: of the scenario that names it.
  const std::string* read(const std::string& name, const std::string& role, std::size_t most_bytes, int line,
                          std::string& trouble);

  std::vector<NamedFile> take() { return std::move(files_); }

 private:
  std::filesystem::path folder_;
  Copies copies_;
  std::vector<NamedFile> files_;
};

// The scenario's text with the names of the copies in place of the files': as a run folder keeps it, so that
// it is whole by itself.
std::string naming_the_copies(const std::string& text, const std::vector<NamedFile>& files);

}  // namespace tachproof

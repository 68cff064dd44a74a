// What a rig to be made consists of: from options, and at a terminal by asking
// for what is missing.
#pragma once

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "bench/commands/command.h"
#include "bench/commands/rig_kind_words.h"

namespace tachproof {

class RigWords {
 public:
  void declare(Arguments& arguments);
  bool any() const;
  // `out`: the rig file; paths in it are relative to its folder. Throws UsageError
  // with the option's name when something is impossible, or missing with nobody
  // there to ask; RigError when the only board is asked for and there is none.
  RigWanted wanted(const std::filesystem::path& out) const;

 private:
  std::string source_kind() const;
  std::string watch_kind(const RigFile& rig) const;

  std::string source_, watch_;
  std::vector<std::unique_ptr<KindWords>> kinds_ = all_kind_words();
};

}  // namespace tachproof

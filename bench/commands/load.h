// Loading several files at once, so that a person sees all their errors in one go.
#pragma once

#include <optional>
#include <utility>
#include <vector>

#include "bench/commands/command.h"
#include "bench/files/files.h"

namespace tachproof {

class Errors {
 public:
  template <class Load>
  auto collect(Load load) -> std::optional<decltype(load())> {
    try {
      return load();
    } catch (const FileErrors& e) {
      all_.insert(all_.end(), e.errors.begin(), e.errors.end());
      return std::nullopt;
    }
  }

  void throw_if_any() {
    if (!all_.empty()) throw FileErrors(std::move(all_));
  }

 private:
  std::vector<FileError> all_;
};

// Throws UsageError when the steps make no profile.
inline Profile make_profile(const ScenarioFile& scenario, const std::string& file) {
  if (scenario.dwell)
    throw UsageError(file + ": a dwell has no profile of its own; play it with `tachproof run`");
  try {
    return Profile(scenario.steps);
  } catch (const std::invalid_argument& e) {
    throw UsageError(file + ": " + e.what());
  }
}

}  // namespace tachproof

// Loading several files at once, so that a person sees all their errors in one go.
#pragma once

#include <optional>
#include <type_traits>
#include <utility>
#include <vector>

#include "bench/commands/command.h"
#include "bench/files/files.h"

namespace tachproof {

class Errors {
 public:
  // What `load` gives, when it can be loaded.
  template <class Load>
  auto collect(Load load) {
    using Loaded = decltype(load());
    if constexpr (std::is_void_v<Loaded>) {
      guard(load);
    } else {
      std::optional<Loaded> loaded;
      guard([&] { loaded.emplace(load()); });
      return loaded;
    }
  }

  void throw_if_any() {
    if (!all_.empty()) throw FileErrors(std::move(all_));
  }

 private:
  template <class Step>
  void guard(Step step) {
    try {
      step();
    } catch (const FileErrors& e) {
      all_.insert(all_.end(), e.errors.begin(), e.errors.end());
    }
  }

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

// A shop of a few small files in a folder of its own, for tests of the bench page.
#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "tests/bench/scratch_folder.h"

namespace tachproof {

// Gauge and scenarios of few seconds, a sound unit and a faulty one: two rigs, and jobs for both.
class SmallShop {
 public:
  SmallShop();
  const std::filesystem::path& folder() const { return scratch_.path(); }
  void write(const std::string& name, const std::string& text) const;
  // A simulated rig: rigs/NAME.yaml, its unit with this fault, a mapping in YAML, or with none.
  void write_rig(const std::string& name, const std::string& fault = {}) const;
  // A job of this rig's: "bench-1" or "bench-2".
  void write_job(const std::string& file, const std::string& name, const std::string& play,
                 const std::string& rig, const std::string& more = {}) const;
  // The run folders, by name: of each part of a job.
  std::vector<std::string> runs() const;
  nlohmann::json result(const std::string& run) const;

 private:
  ScratchFolder scratch_;
};

// What a unit of bench-2 has.
inline constexpr const char* late_far_lamp = "{kind: boundary-moved, boundary: hasty, by_rpm: 200}";

// The tile of a rig of SmallShop.
inline constexpr const char* first_tile = "rigs_bench-1";
inline constexpr const char* second_tile = "rigs_bench-2";

}  // namespace tachproof

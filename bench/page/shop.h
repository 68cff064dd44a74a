// The folder that a shop works in: jobs, gauges, scenarios, rigs, certificates, and the runs that were made.
//
// Everything is in files that the command line reads. Names of files in addresses are relative to the folder,
// and nothing outside of it is ever opened.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "bench/commands/job_run.h"

namespace tachproof {

// A job file of the shop, readable or not.
struct ShopJob {
  std::string file;     // relative: "jobs/drumlin.yaml"
  std::string name;     // the job's own; of an unreadable one the file's
  std::string rig;      // relative where it is of the shop, else as it is
  std::string trouble;  // why it cannot be read: lines; empty where it can
};

class Shop {
 public:
  // Throws std::runtime_error where there is no such folder.
  explicit Shop(const std::filesystem::path& folder);

  const std::filesystem::path& folder() const { return folder_; }
  std::filesystem::path runs() const { return folder_ / "runs"; }

  // YAML files of this kind, relative, by name: of the folder and three levels of folders in it, without
  // runs.
  std::vector<std::string> files(const std::string& kind) const;
  std::vector<ShopJob> jobs() const;
  // The path of a file that is there, a regular one, and in the folder; nothing otherwise.
  std::optional<std::filesystem::path> path_of(const std::string& relative) const;
  // Relative where it is in the folder, else as it is.
  std::string name_of(const std::filesystem::path& path) const;
  // The run folder beneath runs/ of this name ("20310314-142501-plan", or with a part behind a '/').
  std::optional<std::filesystem::path> run_folder(const std::string& name) const;

 private:
  std::filesystem::path folder_;
};

// The shop that ships, on the simulated rig: written beneath the user's data where it is not there yet. Files
// that are there stay as they are. Throws std::runtime_error with a sentence.
std::filesystem::path shipped_shop();

}  // namespace tachproof

// Job files: what an operator picks. A gauge, what is played, on which rig, and what the shop states.
//
//     format: 1
//     kind: job
//     name: TEXT
//     gauge: FILE
//     play: FILE | plan | {survey: {within: RPM}}, or a list of these
//     rig: FILE
//     certificate: FILE                  optional
//     serial: {pattern: TEXT}            optional: what a serial number looks like
//
// Files are named from the folder of the job file.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace tachproof {

// One thing that is played.
struct JobPlay {
  enum class What { scenario, survey, plan } what = What::plan;
  std::string file;       // a scenario's
  double within_rpm = 1;  // a survey's wanted expanded uncertainty
};

struct Job {
  std::string name;
  std::string gauge, rig;  // paths
  std::vector<JobPlay> play;
  std::string certificate;     // a path; may be empty
  std::string serial_pattern;  // a regular expression (ECMAScript); may be empty
};

// Throws FileErrors; a file that it names and that is not there is an error too. The files themselves are not
// read.
Job load_job(const std::filesystem::path& file, std::string* bytes = nullptr);

// Why this is no serial number of this job, a sentence; nothing when it is one.
std::optional<std::string> wrong_serial(const Job& job, const std::string& serial);

inline constexpr std::size_t longest_serial = 100;

}  // namespace tachproof

// Approved texts: files in tests/data/approved that a person has read and
// found right. With TACHPROOF_APPROVE=1 in the environment a test writes its
// file instead; read the difference before committing it.
#pragma once

#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

#include "bench/record/run_folder.h"

namespace tachproof {

inline std::filesystem::path test_data() { return TACHPROOF_TEST_DATA; }

inline std::string read_file(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

inline void write_file(const std::filesystem::path& file, const std::string& text) {
  std::ofstream(file, std::ios::binary) << text;
}

inline void expect_approved(const std::string& name, const std::string& text) {
  const std::filesystem::path file = test_data() / "approved" / name;
  if (std::getenv("TACHPROOF_APPROVE") != nullptr) write_file(file, text);
  EXPECT_EQ(read_file(file), text) << "approved text: " << file;
}

// What changes from day to day, blanked.
inline RunRecord without_volatile(RunRecord record) {
  record.started = "STARTED";
  record.tool_version = "VERSION";
  return record;
}

// A folder of its own for one test, gone afterwards. In memory where it can
// be: the tests kill and cut a lot, and need no disk for it.
class TemporaryFolder {
 public:
  TemporaryFolder() {
    const bool memory = ::access("/dev/shm", W_OK) == 0;
    const std::filesystem::path base = memory ? "/dev/shm" : std::filesystem::temp_directory_path();
    std::string name = (base / "tachproof-test-XXXXXX").string();
    path_ = ::mkdtemp(name.data());
  }
  ~TemporaryFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

}  // namespace tachproof

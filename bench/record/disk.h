// Files that survive a kill: appended to without buffers, or replaced whole.
//
// Failures are std::runtime_error with a sentence: doing what, on what, why.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace tachproof {

// Every append is with the kernel when it returns.
class AppendFile {
 public:
  explicit AppendFile(const std::filesystem::path& file);  // must not exist yet
  ~AppendFile();
  AppendFile(const AppendFile&) = delete;
  AppendFile& operator=(const AppendFile&) = delete;

  void append(std::string_view text);
  void sync();  // and with the disk

 private:
  std::filesystem::path path_;
  int fd_;
};

// A whole file, written beside its place and with the disk, then moved there:
// a reader sees the old file or the new one and nothing between.
class Replacement {
 public:
  Replacement(std::filesystem::path file, std::string_view text);
  void move_into_place();

 private:
  std::filesystem::path file_;
  std::filesystem::path beside_;
};

void sync_folder(const std::filesystem::path& folder);
std::string whole_file(const std::filesystem::path& file);
std::string sha256_of(std::string_view bytes);  // lower-case hex

}  // namespace tachproof

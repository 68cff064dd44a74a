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
// a reader sees the old file or the new one and nothing between. Nothing but a
// regular file is ever replaced, and no link is followed.
class Replacement {
 public:
  Replacement(std::filesystem::path file, std::string_view text);
  ~Replacement();
  Replacement(Replacement&& other) noexcept;
  Replacement& operator=(Replacement&& other) noexcept;
  void move_into_place();

 private:
  void discard() noexcept;
  std::filesystem::path file_;
  std::filesystem::path beside_;
  int fd_ = -1;
};

void sync_folder(const std::filesystem::path& folder);
inline constexpr std::size_t most_whole_file = std::size_t{256} << 20;
std::string whole_file(const std::filesystem::path& file);  // of at most most_whole_file bytes
std::string sha256_of(std::string_view bytes);              // lower-case hex

}  // namespace tachproof

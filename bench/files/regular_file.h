// A regular file, opened to be read, and nothing else in its place: opening a pipe waits for whoever
// writes it, some devices never end, and a hole of a terabyte is read as a terabyte of zeros.
//
// Failures are NotReadable with a sentence: "cannot read RUN/timeline.csv: it is a pipe".
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <stdexcept>
#include <string>
#include <utility>

namespace tachproof {

struct NotReadable : std::runtime_error {
  NotReadable(const std::string& sentence, std::string reason)
      : std::runtime_error(sentence), why(std::move(reason)) {}
  std::string why;  // "it is a pipe"
};

class RegularFile {
 public:
  enum class Links { follow, refuse };
  explicit RegularFile(const std::filesystem::path& file, Links links = Links::follow);
  ~RegularFile();
  RegularFile(RegularFile&& other) noexcept;
  RegularFile(const RegularFile&) = delete;
  RegularFile& operator=(const RegularFile&) = delete;

  std::uint64_t size() const { return size_; }  // when it was opened
  // Up to `size` bytes, at least one; 0 at the end.
  std::size_t read(char* to, std::size_t size);
  void read_in_order() const;  // a hint for the kernel
  // All of it; NotReadable when that is more than `most` bytes.
  std::string all(std::size_t most);

 private:
  std::filesystem::path path_;
  int fd_ = -1;
  std::uint64_t size_ = 0;
};

// Whether a regular file stands there, or anything at all; links are followed.
bool is_file_there(const std::filesystem::path& path);
bool is_there(const std::filesystem::path& path);

// What stands there if it is neither a regular file nor a folder: "a symbolic link", "a pipe",
// "a device", "a socket". Nothing as well where there is nothing.
std::optional<std::string> odd_kind(const std::filesystem::path& path);

// Lines, without their ends and none longer than `longest`: a file may be one line.
class FileLines {
 public:
  enum class Got { line, too_long, unended, end };  // unended: the file ends without a line end
  FileLines(RegularFile file, std::size_t longest);
  // too_long: the line was passed over, and `line` is empty.
  Got next(std::string& line);

 private:
  bool fill();

  RegularFile file_;
  std::size_t longest_;
  std::string block_;
  std::size_t at_ = 0;
};

}  // namespace tachproof

#include "bench/files/regular_file.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <system_error>
#include <utility>

#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

// Beyond this a file with less than a 64th of it on the disk is a hole: text as runs and logic
// analysers write it does not compress as far in any file system that does.
constexpr std::uint64_t small_enough = std::uint64_t{1} << 30;
constexpr std::uint64_t stored_part = 64;

[[noreturn]] void refuse(const std::filesystem::path& file, const std::string& why) {
  throw NotReadable(fmt::format("cannot read {}: {}", shown(file.string()), why), why);
}

const char* kind_of(const struct stat& is) {
  return S_ISLNK(is.st_mode)                          ? "a symbolic link"
         : S_ISFIFO(is.st_mode)                       ? "a pipe"
         : S_ISCHR(is.st_mode) || S_ISBLK(is.st_mode) ? "a device"
         : S_ISSOCK(is.st_mode)                       ? "a socket"
         : S_ISDIR(is.st_mode)                        ? "a folder"
                                                      : nullptr;
}

}  // namespace

bool is_file_there(const std::filesystem::path& path) {
  std::error_code error;
  return std::filesystem::is_regular_file(path, error);
}

bool is_there(const std::filesystem::path& path) {
  std::error_code error;
  return std::filesystem::exists(path, error);
}

std::optional<std::string> odd_kind(const std::filesystem::path& path) {
  struct stat is = {};
  if (::lstat(path.c_str(), &is) != 0 || S_ISDIR(is.st_mode)) return std::nullopt;
  const char* const kind = kind_of(is);
  return kind == nullptr ? std::nullopt : std::optional<std::string>(kind);
}

RegularFile::RegularFile(const std::filesystem::path& file, Links links) : path_(file) {
  struct stat is = {};
  // Looked at before it is opened: opening alone makes some devices do something.
  if ((links == Links::refuse ? ::lstat(file.c_str(), &is) : ::stat(file.c_str(), &is)) != 0)
    refuse(file, std::strerror(errno));
  if (const char* const kind = kind_of(is)) refuse(file, std::string("it is ") + kind);
  fd_ = ::open(file.c_str(),
               O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY | (links == Links::refuse ? O_NOFOLLOW : 0));
  if (fd_ < 0) refuse(file, std::strerror(errno));
  std::string why;
  if (::fstat(fd_, &is) != 0)
    why = std::strerror(errno);
  else if (!S_ISREG(is.st_mode))
    why = "it is not a regular file";
  size_ = static_cast<std::uint64_t>(is.st_size);
  const std::uint64_t stored = static_cast<std::uint64_t>(is.st_blocks) * 512;
  if (why.empty() && size_ > small_enough && stored < size_ / stored_part)
    why = fmt::format("it says that it has {} bytes, but only {} are on the disk: the rest is a hole", size_,
                      stored);
  if (why.empty()) return;
  ::close(fd_);
  refuse(file, why);
}

RegularFile::~RegularFile() {
  if (fd_ >= 0) ::close(fd_);
}

RegularFile::RegularFile(RegularFile&& other) noexcept
    : path_(std::move(other.path_)), fd_(std::exchange(other.fd_, -1)), size_(other.size_) {}

std::size_t RegularFile::read(char* to, std::size_t size) {
  for (;;) {
    const ssize_t got = ::read(fd_, to, size);
    if (got >= 0) return static_cast<std::size_t>(got);
    if (errno != EINTR) refuse(path_, std::strerror(errno));
  }
}

void RegularFile::read_in_order() const { ::posix_fadvise(fd_, 0, 0, POSIX_FADV_SEQUENTIAL); }

std::string RegularFile::all(std::size_t most) {
  const auto too_large = [&](std::uint64_t bytes) {
    refuse(path_, fmt::format("it has {} bytes, more than the {} MB that such a file may have", bytes,
                              most / (1024 * 1024)));
  };
  if (size_ > most) too_large(size_);
  // It may have grown since; never more than one byte beyond.
  std::string text(static_cast<std::size_t>(size_) + 1, '\0');
  std::size_t used = 0;
  while (const std::size_t got = read(text.data() + used, text.size() - used)) {
    used += got;
    if (used > most) too_large(used);
    if (used == text.size()) text.resize(std::min(text.size() * 2, most + 1));
  }
  text.resize(used);
  return text;
}

FileLines::FileLines(RegularFile file, std::size_t longest) : file_(std::move(file)), longest_(longest) {
  file_.read_in_order();
}

bool FileLines::fill() {
  block_.resize(std::size_t{64} << 10);
  block_.resize(file_.read(block_.data(), block_.size()));
  at_ = 0;
  return !block_.empty();
}

FileLines::Got FileLines::next(std::string& line) {
  line.clear();
  bool any = false, too_long = false;
  while (at_ < block_.size() || fill()) {
    any = true;
    const std::size_t end = block_.find('\n', at_);
    const std::size_t length = std::min(end, block_.size()) - at_;
    too_long = too_long || line.size() + length > longest_;
    if (too_long)
      line.clear();
    else
      line.append(block_, at_, length);
    at_ += length;
    if (end == std::string::npos) continue;
    ++at_;
    return too_long ? Got::too_long : Got::line;
  }
  return !any ? Got::end : Got::unended;
}

}  // namespace tachproof

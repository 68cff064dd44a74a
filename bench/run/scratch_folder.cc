#include "bench/run/scratch_folder.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <stdexcept>
#include <system_error>

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr std::time_t settled_s = 60;  // a younger one may not be locked yet

fs::path temporary_folder() {
  const char* const named = std::getenv("TMPDIR");
  return named == nullptr || *named == '\0' ? "/tmp" : named;
}

int open_folder(const fs::path& folder) {
  return ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
}

// Of this user, and nobody holds its lock.
bool is_left_over(const fs::path& folder) {
  const int fd = open_folder(folder);
  if (fd < 0) return false;
  struct stat is = {};
  const bool old = ::fstat(fd, &is) == 0 && is.st_uid == ::geteuid() &&
                   is.st_mtime + settled_s < std::time(nullptr) && ::flock(fd, LOCK_EX | LOCK_NB) == 0;
  ::close(fd);
  return old;
}

void remove_left_over(const fs::path& in, const std::string& beginning) {
  std::error_code ignored;
  for (const auto& entry : fs::directory_iterator(in, ignored))
    if (entry.path().filename().string().starts_with(beginning) && is_left_over(entry.path()))
      fs::remove_all(entry.path(), ignored);
}

}  // namespace

Scratch::Scratch(const std::string& name) {
  const fs::path in = temporary_folder();
  const std::string beginning = "tachproof-" + name + "-";
  remove_left_over(in, beginning);
  std::string made = (in / (beginning + "XXXXXX")).string();
  if (::mkdtemp(made.data()) == nullptr)
    throw std::runtime_error(
        fmt::format("cannot make a folder in {}: {}; set TMPDIR to a folder that can be written to",
                    in.string(), std::strerror(errno)));
  path_ = made;
  lock_ = open_folder(path_);
  if (lock_ >= 0) ::flock(lock_, LOCK_EX | LOCK_NB);
}

Scratch::~Scratch() {
  std::error_code ignored;
  fs::remove_all(path_, ignored);
  if (lock_ >= 0) ::close(lock_);
}

}  // namespace tachproof

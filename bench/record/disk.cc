#include "bench/record/disk.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <openssl/evp.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <memory>
#include <optional>
#include <stdexcept>
#include <utility>

#include "bench/files/regular_file.h"
#include "bench/record/run_folder.h"

namespace tachproof {
namespace {

[[noreturn]] void fail(const char* doing, const std::filesystem::path& file) {
  throw std::runtime_error(fmt::format("cannot {} {}: {}", doing, file.string(), std::strerror(errno)));
}

int open_or_throw(const std::filesystem::path& file, int flags) {
  const int fd = ::open(file.c_str(), flags | O_CLOEXEC | O_NOFOLLOW, 0666);
  if (fd < 0) fail("open", file);
  return fd;
}

void write_all(int fd, std::string_view text, const std::filesystem::path& file) {
  while (!text.empty()) {
    const ssize_t n = ::write(fd, text.data(), text.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) fail("write", file);
    text.remove_prefix(static_cast<std::size_t>(n));
  }
}

class Sha256 {
 public:
  Sha256() : context_(EVP_MD_CTX_new(), &EVP_MD_CTX_free) {
    if (context_ == nullptr || EVP_DigestInit_ex(context_.get(), EVP_sha256(), nullptr) != 1)
      throw std::runtime_error("cannot compute a SHA-256");
  }
  void add(std::string_view bytes) {
    if (EVP_DigestUpdate(context_.get(), bytes.data(), bytes.size()) != 1)
      throw std::runtime_error("cannot compute a SHA-256");
  }
  std::string hex() {
    std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
    unsigned int size = 0;
    if (EVP_DigestFinal_ex(context_.get(), digest.data(), &size) != 1)
      throw std::runtime_error("cannot compute a SHA-256");
    std::string text;
    for (unsigned int i = 0; i < size; ++i) text += fmt::format("{:02x}", digest[i]);
    return text;
  }

 private:
  std::unique_ptr<EVP_MD_CTX, void (*)(EVP_MD_CTX*)> context_;
};

}  // namespace

AppendFile::AppendFile(const std::filesystem::path& file)
    : path_(file), fd_(open_or_throw(file, O_WRONLY | O_CREAT | O_EXCL | O_APPEND)) {}

AppendFile::~AppendFile() { ::close(fd_); }

void AppendFile::append(std::string_view text) { write_all(fd_, text, path_); }

void AppendFile::sync() {
  if (::fsync(fd_) != 0) fail("write", path_);
}

namespace {

// What an earlier program left there is gone first, be it a link: never written through.
int open_anew(const std::filesystem::path& file) {
  if (::unlink(file.c_str()) != 0 && errno != ENOENT) fail("replace", file);
  return open_or_throw(file, O_WRONLY | O_CREAT | O_EXCL);
}

bool is_same_file(int fd, const std::filesystem::path& file) {
  struct stat opened = {}, there = {};
  return ::fstat(fd, &opened) == 0 && ::lstat(file.c_str(), &there) == 0 && opened.st_dev == there.st_dev &&
         opened.st_ino == there.st_ino;
}

}  // namespace

Replacement::Replacement(std::filesystem::path file, std::string_view text)
    : file_(std::move(file)), beside_(file_.parent_path() / ("." + file_.filename().string() + ".part")) {
  std::error_code ignored;
  if (const std::optional<std::string> odd = odd_kind(file_);
      odd || std::filesystem::is_directory(file_, ignored))
    throw std::runtime_error(
        fmt::format("cannot replace {}: it is {}", file_.string(), odd.value_or("a folder")));
  fd_ = open_anew(beside_);
  try {
    write_all(fd_, text, beside_);
    if (::fsync(fd_) != 0) fail("write", beside_);
  } catch (...) {
    discard();
    throw;
  }
}

Replacement::~Replacement() { discard(); }

// What was not moved is of no use to anybody.
void Replacement::discard() noexcept {
  if (fd_ < 0) return;
  if (is_same_file(fd_, beside_)) ::unlink(beside_.c_str());
  ::close(fd_);
  fd_ = -1;
}

Replacement::Replacement(Replacement&& other) noexcept
    : file_(std::move(other.file_)), beside_(std::move(other.beside_)), fd_(std::exchange(other.fd_, -1)) {}

Replacement& Replacement::operator=(Replacement&& other) noexcept {
  std::swap(file_, other.file_);
  std::swap(beside_, other.beside_);
  std::swap(fd_, other.fd_);
  return *this;
}

void Replacement::move_into_place() {
  if (!is_same_file(fd_, beside_))
    throw std::runtime_error(
        fmt::format("cannot replace {}: another program writes it at the same time", file_.string()));
  if (::rename(beside_.c_str(), file_.c_str()) != 0) fail("replace", file_);
}

void sync_folder(const std::filesystem::path& folder) {
  // The folder may be a link that the user has made.
  const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd < 0) fail("open", folder);
  const bool synced = ::fsync(fd) == 0 || errno == EINVAL;  // some file systems cannot
  ::close(fd);
  if (!synced) fail("write", folder);
}

std::string whole_file(const std::filesystem::path& file) { return RegularFile(file).all(most_whole_file); }

std::string sha256_of(std::string_view bytes) {
  Sha256 sha;
  sha.add(bytes);
  return sha.hex();
}

std::string sha256_of_file(const std::filesystem::path& file) {
  RegularFile in(file);
  in.read_in_order();
  Sha256 sha;
  std::array<char, 65536> block{};
  while (const std::size_t got = in.read(block.data(), block.size())) sha.add({block.data(), got});
  return sha.hex();
}

}  // namespace tachproof

#include "bench/record/disk.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <openssl/evp.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <memory>
#include <stdexcept>
#include <utility>

#include "bench/record/run_folder.h"

namespace tachproof {
namespace {

[[noreturn]] void fail(const char* doing, const std::filesystem::path& file) {
  throw std::runtime_error(fmt::format("cannot {} {}: {}", doing, file.string(), std::strerror(errno)));
}

int open_or_throw(const std::filesystem::path& file, int flags) {
  const int fd = ::open(file.c_str(), flags | O_CLOEXEC, 0666);
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

std::ifstream open_to_read(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in || std::filesystem::is_directory(file)) fail("read", file);
  return in;
}

}  // namespace

AppendFile::AppendFile(const std::filesystem::path& file)
    : path_(file), fd_(open_or_throw(file, O_WRONLY | O_CREAT | O_EXCL | O_APPEND)) {}

AppendFile::~AppendFile() { ::close(fd_); }

void AppendFile::append(std::string_view text) { write_all(fd_, text, path_); }

void AppendFile::sync() {
  if (::fsync(fd_) != 0) fail("write", path_);
}

Replacement::Replacement(std::filesystem::path file, std::string_view text)
    : file_(std::move(file)), beside_(file_.parent_path() / ("." + file_.filename().string() + ".part")) {
  const int fd = open_or_throw(beside_, O_WRONLY | O_CREAT | O_TRUNC);
  try {
    write_all(fd, text, beside_);
    if (::fsync(fd) != 0) fail("write", beside_);
  } catch (...) {
    ::close(fd);
    throw;
  }
  ::close(fd);
}

void Replacement::move_into_place() {
  if (::rename(beside_.c_str(), file_.c_str()) != 0) fail("replace", file_);
}

void sync_folder(const std::filesystem::path& folder) {
  const int fd = open_or_throw(folder, O_RDONLY | O_DIRECTORY);
  const bool synced = ::fsync(fd) == 0 || errno == EINVAL;  // some file systems cannot
  ::close(fd);
  if (!synced) fail("write", folder);
}

std::string whole_file(const std::filesystem::path& file) {
  std::ifstream in = open_to_read(file);
  std::string text(std::istreambuf_iterator<char>(in), {});
  if (in.bad()) fail("read", file);
  return text;
}

std::string sha256_of(std::string_view bytes) {
  Sha256 sha;
  sha.add(bytes);
  return sha.hex();
}

std::string sha256_of_file(const std::filesystem::path& file) {
  std::ifstream in = open_to_read(file);
  Sha256 sha;
  std::array<char, 65536> block{};
  while (in.read(block.data(), block.size()) || in.gcount() > 0)
    sha.add({block.data(), static_cast<std::size_t>(in.gcount())});
  if (in.bad()) fail("read", file);
  return sha.hex();
}

}  // namespace tachproof

// A file in a folder of its own that goes away with the object.
#pragma once

#include <stdlib.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>

namespace tachproof {

class ScratchFile {
 public:
  explicit ScratchFile(const std::string& name) {
    std::string folder = (std::filesystem::temp_directory_path() / "tachproof-test-XXXXXX").string();
    if (::mkdtemp(folder.data()) == nullptr) throw std::runtime_error("no scratch folder");
    folder_ = folder;
    path_ = folder_ / name;
  }
  ~ScratchFile() {
    std::error_code ignored;
    std::filesystem::remove_all(folder_, ignored);
  }
  ScratchFile(const ScratchFile&) = delete;
  ScratchFile& operator=(const ScratchFile&) = delete;

  const std::filesystem::path& path() const { return path_; }
  std::string text() const {
    std::ifstream in(path_, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
  }

 private:
  std::filesystem::path folder_;
  std::filesystem::path path_;
};

}  // namespace tachproof

// A folder for what is needed for a moment only. It goes with the object; what a killed program
// left goes when the next one makes its own.
#pragma once

#include <filesystem>
#include <string>

namespace tachproof {

class Scratch {
 public:
  // Makes "tachproof-NAME-..." in the temporary folder ($TMPDIR, else /tmp). Throws
  // std::runtime_error with a sentence.
  explicit Scratch(const std::string& name);
  ~Scratch();
  Scratch(const Scratch&) = delete;
  Scratch& operator=(const Scratch&) = delete;
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
  int lock_ = -1;  // held while it is in use
};

}  // namespace tachproof

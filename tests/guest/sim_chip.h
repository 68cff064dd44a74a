// A GPIO chip that the kernel's gpio-sim makes: real lines of a real character
// device, whose pulls are files. Needs root, configfs at /config and the module.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace tachproof::test {

class SimChip {
 public:
  struct Line {
    std::string name;  // may be empty
    std::string user;  // somebody in the kernel who has taken it; may be empty
  };
  // Throws std::runtime_error when the kernel does not make it.
  SimChip(const std::string& label, const std::vector<Line>& lines);
  ~SimChip();  // unplugs it
  SimChip(const SimChip&) = delete;
  SimChip& operator=(const SimChip&) = delete;

  const std::string& name() const { return name_; }  // "gpiochip0"
  const std::filesystem::path& pulls() const { return pulls_; }
  void pull(unsigned line, bool up);
  void unplug();

 private:
  std::filesystem::path config_, pulls_;
  std::string name_;
  bool live_ = false;
};

// Writes what "pull-up" and "pull-down" are written into.
void pull_line(const std::filesystem::path& pulls, unsigned line, bool up);

}  // namespace tachproof::test

#include "tests/guest/sim_chip.h"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <stdexcept>

namespace tachproof::test {
namespace {

namespace fs = std::filesystem;

void put(const fs::path& file, const std::string& text) {
  const int fd = ::open(file.c_str(), O_WRONLY | O_CLOEXEC);
  const bool written = fd >= 0 && ::write(fd, text.data(), text.size()) == static_cast<ssize_t>(text.size());
  const int error = errno;
  if (fd >= 0) ::close(fd);
  if (!written) throw std::runtime_error("writing " + file.string() + ": " + std::strerror(error));
}

std::string get(const fs::path& file) {
  std::ifstream in(file);
  std::string text;
  std::getline(in, text);
  return text;
}

}  // namespace

void pull_line(const fs::path& pulls, unsigned line, bool up) {
  put(pulls / ("sim_gpio" + std::to_string(line)) / "pull", up ? "pull-up" : "pull-down");
}

SimChip::SimChip(const std::string& label, const std::vector<Line>& lines)
    : config_(fs::path("/config/gpio-sim") / label) {
  const fs::path bank = config_ / "bank";
  fs::create_directory(config_);
  fs::create_directory(bank);
  put(bank / "label", label);
  put(bank / "num_lines", std::to_string(lines.size()));
  for (std::size_t i = 0; i < lines.size(); ++i) {
    if (lines[i].name.empty() && lines[i].user.empty()) continue;
    const fs::path line = bank / ("line" + std::to_string(i));
    fs::create_directory(line);
    if (!lines[i].name.empty()) put(line / "name", lines[i].name);
    if (lines[i].user.empty()) continue;
    fs::create_directory(line / "hog");
    put(line / "hog" / "name", lines[i].user);
    put(line / "hog" / "direction", "input");
  }
  put(config_ / "live", "1");
  live_ = true;
  name_ = get(bank / "chip_name");
  pulls_ = fs::path("/sys/devices/platform") / get(config_ / "dev_name") / name_;
}

SimChip::~SimChip() {
  try {
    unplug();
  } catch (const std::exception&) {
  }
  // configfs folders go one by one, the innermost first.
  std::error_code ignored;
  for (const auto& line : fs::directory_iterator(config_ / "bank", ignored))
    if (line.is_directory(ignored)) {
      ::rmdir((line.path() / "hog").c_str());
      ::rmdir(line.path().c_str());
    }
  ::rmdir((config_ / "bank").c_str());
  ::rmdir(config_.c_str());
}

void SimChip::pull(unsigned line, bool up) { pull_line(pulls_, line, up); }

void SimChip::unplug() {
  if (live_) put(config_ / "live", "0");
  live_ = false;
}

}  // namespace tachproof::test

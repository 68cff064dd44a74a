#include "bench/rigs/gpio/gpio_lines.h"

#include <fmt/format.h>
#include <linux/gpio.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <utility>

#include "bench/rigs/ports.h"
#include "bench/rigs/rig.h"
#include "core/base/parse.h"

namespace tachproof {
namespace {

constexpr const char* consumer = "tachproof";

// The kernel's texts are at most 32 bytes, not always ended.
template <std::size_t N>
std::string text_of(const char (&field)[N]) {
  return std::string(field, strnlen(field, N));
}
template <std::size_t N>
void put_text(char (&field)[N], const char* text) {
  std::strncpy(field, text, N - 1);
}

class OpenChip {
 public:
  OpenChip(GpioKernel& kernel, const std::string& device) : kernel_(kernel), fd(kernel.open(device)) {}
  ~OpenChip() {
    if (fd >= 0) kernel_.close(fd);
  }
  OpenChip(const OpenChip&) = delete;

 private:
  GpioKernel& kernel_;

 public:
  const int fd;
};

GpioChipFound look_at(GpioKernel& kernel, const std::string& device) {
  GpioChipFound found;
  found.device = device;
  found.name = device.substr(device.rfind('/') + 1);
  const OpenChip chip(kernel, device);
  gpiochip_info info{};
  if (chip.fd < 0 || kernel.ioctl(chip.fd, GPIO_GET_CHIPINFO_IOCTL, &info) != 0) {
    found.closed_because = errno == EACCES || errno == EPERM ? no_permission(device) : std::strerror(errno);
    return found;
  }
  found.name = text_of(info.name);
  found.label = text_of(info.label);
  for (unsigned i = 0; i < info.lines; ++i) {
    gpio_v2_line_info line{};
    line.offset = i;
    if (kernel.ioctl(chip.fd, GPIO_V2_GET_LINEINFO_IOCTL, &line) != 0) {
      found.closed_because =
          errno == EINVAL || errno == ENOTTY
              ? "this kernel has no GPIO interface of version 2, which came with Linux 5.10"
              : std::strerror(errno);
      return found;
    }
    found.lines.push_back(
        {text_of(line.name), text_of(line.consumer), (line.flags & GPIO_V2_LINE_FLAG_USED) != 0});
  }
  return found;
}

std::optional<unsigned> line_of(const GpioChipFound& chip, const std::string& wanted) {
  for (unsigned i = 0; i < chip.lines.size(); ++i)
    if (chip.lines[i].name == wanted) return i;
  const std::optional<unsigned> number = parse_number<unsigned>(wanted);
  return number && *number < chip.lines.size() ? number : std::nullopt;
}

std::string called(const GpioChipFound& chip) {
  return chip.label.empty() ? chip.name : chip.name + " (" + chip.label + ")";
}

std::string called(const GpioChipFound& chip, unsigned line) {
  const std::string& name = chip.lines.at(line).name;
  return fmt::format("line {}{} of {}", line, name.empty() ? "" : " '" + name + "'", called(chip));
}

std::uint64_t flags_of(bool active_low, GpioBias bias) {
  std::uint64_t flags =
      GPIO_V2_LINE_FLAG_INPUT | GPIO_V2_LINE_FLAG_EDGE_RISING | GPIO_V2_LINE_FLAG_EDGE_FALLING;
  if (active_low) flags |= GPIO_V2_LINE_FLAG_ACTIVE_LOW;
  switch (bias) {
    case GpioBias::off: return flags | GPIO_V2_LINE_FLAG_BIAS_DISABLED;
    case GpioBias::pull_up: return flags | GPIO_V2_LINE_FLAG_BIAS_PULL_UP;
    case GpioBias::pull_down: return flags | GPIO_V2_LINE_FLAG_BIAS_PULL_DOWN;
    case GpioBias::as_is: break;
  }
  return flags;
}

std::string why_refused(const GpioChipFound& chip, const std::vector<unsigned>& lines, int error) {
  if (error == EBUSY)
    for (const unsigned line : lines)
      if (chip.lines[line].used) {
        const std::string& user = chip.lines[line].consumer;
        return called(chip, line) + " is in use" + (user.empty() ? "" : " by '" + user + "'");
      }
  if (error == EBUSY) return "a line of " + called(chip) + " is in use";
  if (error == EINVAL || error == ENOTSUP || error == ENXIO)
    return called(chip) + " cannot watch these lines for edges, or does not have this bias: try bias: as-is";
  return std::string(std::strerror(error));
}

}  // namespace

std::vector<GpioChipFound> gpio_chips(GpioKernel& kernel) {
  std::vector<GpioChipFound> chips;
  for (const std::string& device : kernel.devices()) chips.push_back(look_at(kernel, device));
  return chips;
}

const GpioChipFound& find_gpio_chip(const std::vector<GpioChipFound>& chips, const std::string& wanted,
                                    const std::vector<std::string>& lines) {
  const std::string doing = "looking for the GPIO chip";
  if (chips.empty()) throw RigError(doing + ": this machine has no GPIO character device (/dev/gpiochip*)");
  std::vector<const GpioChipFound*> fit;
  std::string names;
  for (const GpioChipFound& chip : chips) {
    names += (names.empty() ? "" : ", ") + called(chip);
    const bool named = chip.label == wanted || chip.name == wanted || chip.device == wanted;
    const bool has_all = std::all_of(lines.begin(), lines.end(), [&](const std::string& line) {
      return std::any_of(chip.lines.begin(), chip.lines.end(),
                         [&](const GpioLineFound& found) { return found.name == line; });
    });
    if (wanted.empty() ? has_all : named) fit.push_back(&chip);
  }
  if (fit.size() != 1) {
    const std::string what =
        wanted.empty() ? "has lines of all the names in the wiring" : "is called '" + wanted + "'";
    throw RigError(doing + (fit.empty()
                                ? ": none " + what + "; this machine has " + names
                                : ": more than one " + what + "; name one in the rig file: " + names));
  }
  if (!fit.front()->closed_because.empty())
    throw RigError("opening " + fit.front()->device + ": " + fit.front()->closed_because);
  return *fit.front();
}

unsigned find_gpio_line(const GpioChipFound& chip, const std::string& line) {
  if (const std::optional<unsigned> found = line_of(chip, line)) return *found;
  throw RigError(fmt::format("{} has no line '{}'; it has 0 to {}, and `tachproof ports` lists their names",
                             called(chip), line, static_cast<int>(chip.lines.size()) - 1));
}

GpioLines::GpioLines(std::shared_ptr<GpioKernel> kernel, const GpioChipFound& chip,
                     std::vector<unsigned> lines, bool active_low, GpioBias bias)
    : kernel_(std::move(kernel)), name_(called(chip)), lines_(std::move(lines)) {
  if (lines_.size() > GPIO_V2_LINES_MAX)
    throw RigError(fmt::format("watching {} lines of {}: at most {} can be watched", lines_.size(), name_,
                               GPIO_V2_LINES_MAX));
  const OpenChip open(*kernel_, chip.device);
  if (open.fd < 0) {
    const int error = errno;
    throw RigError("opening " + chip.device + ": " +
                   (error == EACCES || error == EPERM ? no_permission(chip.device) : std::strerror(error)));
  }
  gpio_v2_line_request request{};
  request.num_lines = static_cast<std::uint32_t>(lines_.size());
  std::copy(lines_.begin(), lines_.end(), request.offsets);
  put_text(request.consumer, consumer);
  request.config.flags = flags_of(active_low, bias);
  request.event_buffer_size = unread_edges;
  if (kernel_->ioctl(open.fd, GPIO_V2_GET_LINE_IOCTL, &request) != 0)
    throw RigError("watching GPIO lines: " + why_refused(chip, lines_, errno));
  fd_ = request.fd;
}

GpioLines::~GpioLines() {
  if (fd_ >= 0) kernel_->close(fd_);
}

std::vector<bool> GpioLines::active() {
  gpio_v2_line_values values{};
  values.mask = lines_.size() == 64 ? ~0ULL : (1ULL << lines_.size()) - 1;
  if (kernel_->ioctl(fd_, GPIO_V2_LINE_GET_VALUES_IOCTL, &values) != 0)
    throw RigError("reading the lines of " + name_ + ": " + std::strerror(errno));
  std::vector<bool> out;
  for (std::size_t i = 0; i < lines_.size(); ++i) out.push_back((values.bits >> i) & 1);
  return out;
}

std::optional<GpioEdge> GpioLines::next_edge() {
  if (!kernel_->readable(fd_)) return std::nullopt;
  gpio_v2_line_event event{};
  const ssize_t n = kernel_->read(fd_, &event, sizeof event);
  if (n != static_cast<ssize_t>(sizeof event))
    throw RigError("reading the edges of " + name_ + ": " +
                   (n < 0 ? std::strerror(errno) : "the chip was removed"));
  return GpioEdge{static_cast<Nanos>(event.timestamp_ns), event.offset,
                  event.id == GPIO_V2_LINE_EVENT_RISING_EDGE, event.seqno};
}

}  // namespace tachproof

#include "bench/commands/input_words.h"

#include <fmt/format.h>

namespace tachproof {

std::vector<std::string> anchors_in_speed(const Gauge& gauge) {
  std::vector<std::string> lines;
  if (!gauge.drive) return lines;
  for (const auto& [name, rpm] : gauge.anchors) {
    const Speed* written = gauge.speed_of_anchor(name);
    const std::string means =
        say_speed(gauge.drive->speed_when_set(rpm, gauge.tolerance.rpm), gauge.drive->said_in);
    lines.push_back(written != nullptr ? fmt::format("{}: {} is set as {} rpm, which is {}", name,
                                                     written->written, rpm, means)
                                       : fmt::format("{}: {} rpm is {}", name, rpm, means));
  }
  return lines;
}

}  // namespace tachproof

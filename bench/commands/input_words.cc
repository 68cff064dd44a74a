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

std::vector<std::string> logs_in_words(const ScenarioFile& scenario) {
  std::vector<std::string> lines;
  for (const LogFacts& log : scenario.logs)
    lines.push_back(
        fmt::format("{}: {} samples, {:.4g} a second, from {:.10g} to {:.10g} s by its own clock, {:.0f} to "
                    "{:.0f} rpm; its time is in {} ({})",
                    log.file, log.samples, log.samples_per_s, log.from_s, log.to_s, log.lowest_rpm,
                    log.highest_rpm, log.time_unit, log.unit_by));
  return lines;
}

}  // namespace tachproof

#include "bench/files/gauge_writer.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cmath>
#include <string_view>
#include <vector>

#include "bench/files/yaml_text.h"
#include "core/base/rpm.h"

namespace tachproof {
namespace {

std::string show(const Gauge& gauge, const Cue& cue) {
  std::vector<std::string> parts;
  for (const Lamp& lamp : gauge.lamps)
    for (const std::string& colour : lamp.colours) {
      const Channels bit = gauge.channel(lamp.id, colour);
      if ((cue.steady & bit) != 0)
        parts.push_back(fmt::format("{}: {}", yaml_quoted(lamp.id), yaml_quoted(colour)));
      if ((cue.blinking & bit) != 0)
        parts.push_back(fmt::format("{}: {}", yaml_quoted(lamp.id), yaml_quoted(colour + " blinking")));
    }
  return fmt::format("{{{}}}", fmt::join(parts, ", "));
}

}  // namespace

std::string gauge_yaml(const Gauge& gauge) {
  std::string text = fmt::format("format: 1\nkind: gauge\nname: {}\npulses_per_rev: {}\nlamps:\n",
                                 yaml_quoted(gauge.name), gauge.pulses_per_rev);
  for (const Lamp& lamp : gauge.lamps) {
    std::vector<std::string> colours;
    for (const std::string& colour : lamp.colours) colours.push_back(yaml_quoted(colour));
    text += fmt::format("  - {{id: {}, colours: [{}]}}\n", yaml_quoted(lamp.id), fmt::join(colours, ", "));
  }
  text += "windows:\n";
  for (const Window& window : gauge.windows)
    text += fmt::format("  - {{name: {}, from: {}, show: {}}}\n", yaml_quoted(window.name),
                        hundredths(window.from_rpm), show(gauge, window.cue));
  text += fmt::format("deadband: {{rpm: {}, sits: {}}}\n", hundredths(gauge.deadband.rpm),
                      word(gauge.deadband.sits));
  if (gauge.blink)
    text += fmt::format("blink: {{hz: {}, duty: {}}}\n", hundredths(gauge.blink->hz),
                        hundredths(gauge.blink->duty));
  const Tolerance& t = gauge.tolerance;
  return text + fmt::format(
                    "tolerance: {{rpm: {}, response_ms: {{from: {}, to: {}}}, settle_ms: {}, "
                    "blink_hz: {}, blink_duty: {}, signal_lost_ms: {}}}\n",
                    t.rpm, to_ms(t.response_from), to_ms(t.response_to), to_ms(t.settle), t.blink_hz,
                    t.blink_duty, to_ms(t.signal_lost));
}

}  // namespace tachproof

#include "bench/files/gauge_writer.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cmath>
#include <string_view>
#include <vector>

#include "bench/files/step_text.h"
#include "bench/files/yaml_text.h"
#include "core/base/rpm.h"
#include "core/gauge/button_words.h"

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

std::string anchors(const Gauge& gauge) {
  std::vector<std::string> all;
  for (const auto& [name, rpm] : gauge.anchors)
    all.push_back(fmt::format("{}: {}", yaml_quoted(name), hundredths(rpm)));
  return all.empty() ? "" : fmt::format("anchors: {{{}}}\n", fmt::join(all, ", "));
}

// Hanging from its anchor, so that what moves the anchor moves it too.
std::string from(const Gauge& gauge, const Window& window) {
  for (const auto& [name, rpm] : gauge.anchors)
    if (name == window.anchor)
      return fmt::format("{{{}: {}}}", yaml_quoted(name), hundredths(window.from_rpm - hundredths(rpm)));
  return fmt::format("{}", hundredths(window.from_rpm));
}

std::string button_yaml(const Gauge& gauge, const Button& button) {
  std::string text = fmt::format("  - {{name: {}, does: ", yaml_quoted(button.name));
  if (const auto* take = std::get_if<TakeRpm>(&button.does))
    return text + fmt::format("take, boundary: {}, allowed: {{from: {}, to: {}}}}}\n",
                              yaml_quoted(gauge.windows.at(take->boundary).name), take->lowest_rpm,
                              take->highest_rpm);
  if (const auto* peak = std::get_if<ShowPeak>(&button.does))
    return text + fmt::format("show-peak, for: {}}}\n", ms_text(peak->lasts));
  return text + fmt::format("dim, levels: [{}]}}\n", levels_text(std::get<Dim>(button.does)));
}

std::string power_up_yaml(const Gauge& gauge, const PowerUp& power_up) {
  std::string text = fmt::format("power_up:\n  boot_ms: {{from: {}, to: {}}}\n", to_ms(power_up.boot_from),
                                 to_ms(power_up.boot_to));
  if (power_up.greets)
    text += fmt::format("  greets: {{show: {}, for: {}}}\n", show(gauge, power_up.greets->cue),
                        ms_text(power_up.greets->lasts));
  std::vector<std::string> kept;
  for (const std::string& name : power_up.keeps) kept.push_back(yaml_quoted(name));
  return text + (kept.empty() ? "" : fmt::format("  keeps: [{}]\n", fmt::join(kept, ", ")));
}

}  // namespace

std::string gauge_yaml(const Gauge& gauge) {
  std::string text = fmt::format("format: 1\nkind: gauge\nname: {}\npulses_per_rev: {}\n",
                                 yaml_quoted(gauge.name), gauge.pulses_per_rev);
  text += anchors(gauge) + "lamps:\n";
  for (const Lamp& lamp : gauge.lamps) {
    std::vector<std::string> colours;
    for (const std::string& colour : lamp.colours) colours.push_back(yaml_quoted(colour));
    text += fmt::format("  - {{id: {}, colours: [{}]}}\n", yaml_quoted(lamp.id), fmt::join(colours, ", "));
  }
  text += "windows:\n";
  for (const Window& window : gauge.windows)
    text += fmt::format("  - {{name: {}, from: {}, show: {}}}\n", yaml_quoted(window.name),
                        from(gauge, window), show(gauge, window.cue));
  text += fmt::format("deadband: {{rpm: {}, sits: {}}}\n", hundredths(gauge.deadband.rpm),
                      word(gauge.deadband.sits));
  if (gauge.blink)
    text += fmt::format("blink: {{hz: {}, duty: {}}}\n", hundredths(gauge.blink->hz),
                        hundredths(gauge.blink->duty));
  const Tolerance& t = gauge.tolerance;
  text += fmt::format(
      "tolerance: {{rpm: {}, response_ms: {{from: {}, to: {}}}, settle_ms: {}, "
      "blink_hz: {}, blink_duty: {}, signal_lost_ms: {}}}\n",
      t.rpm, to_ms(t.response_from), to_ms(t.response_to), to_ms(t.settle), t.blink_hz, t.blink_duty,
      to_ms(t.signal_lost));
  if (!gauge.buttons.empty()) text += "buttons:\n";
  for (const Button& button : gauge.buttons) text += button_yaml(gauge, button);
  if (gauge.power_up) text += power_up_yaml(gauge, *gauge.power_up);
  if (gauge.supply)
    text += fmt::format("supply: {{from: {}V, to: {}V}}\n", gauge.supply->lowest_v, gauge.supply->highest_v);
  return text;
}

}  // namespace tachproof

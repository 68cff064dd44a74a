#include "bench/files/gauge_writer.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
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

// Whether the gauge's rpm are what its unit can be set to; what a survey found is not, nor are most
// count-ins. Then everything is written in rpm, and no resolution, which would refuse them.
bool in_its_steps(const Gauge& gauge) {
  if (gauge.resolution_rpm <= 0) return false;
  const auto fits = [&](double rpm) {
    const double steps = hundredths(rpm) / gauge.resolution_rpm;
    return std::fabs(steps - std::round(steps)) < 1e-6;
  };
  return std::all_of(gauge.windows.begin(), gauge.windows.end(),
                     [&](const Window& w) { return fits(w.from_rpm); }) &&
         std::all_of(gauge.anchors.begin(), gauge.anchors.end(),
                     [&](const auto& a) { return fits(a.second); });
}

std::string drive_and_anchors(const Gauge& gauge) {
  std::string text;
  if (gauge.drive) {
    text = fmt::format("drive: {{gear: {}, final_drive: {}", gauge.drive->gearing.gear,
                       gauge.drive->gearing.final_drive);
    for (const auto& [key, written] : gauge.drive->tyre_written)
      text += fmt::format(", {}: {}", key, written);
    text += "}\n";
  }
  std::string anchors;
  for (const auto& [name, rpm] : gauge.anchors) {
    const Speed* speed = in_its_steps(gauge) ? gauge.speed_of_anchor(name) : nullptr;
    anchors += fmt::format("{}{}: {}", anchors.empty() ? "" : ", ", yaml_quoted(name),
                           speed != nullptr ? speed->written : fmt::format("{}", hundredths(rpm)));
  }
  if (!anchors.empty()) text += fmt::format("anchors: {{{}}}\n", anchors);
  return text;
}

// Where window `w` begins: hanging from its anchor, so that what moves the anchor moves it too.
std::string from(const Gauge& gauge, std::size_t w) {
  const Window& window = gauge.windows[w];
  const Speed* speed = in_its_steps(gauge) ? gauge.speed_of_window(w) : nullptr;
  if (speed != nullptr && window.anchor.empty()) return speed->written;
  for (const auto& [name, rpm] : gauge.anchors)
    if (name == window.anchor)
      return fmt::format("{{{}: {}}}", yaml_quoted(name),
                         speed != nullptr ? speed->written
                                          : fmt::format("{}", hundredths(window.from_rpm - hundredths(rpm))));
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
  if (in_its_steps(gauge)) text += fmt::format("resolution_rpm: {}\n", gauge.resolution_rpm);
  text += drive_and_anchors(gauge) + "lamps:\n";
  for (const Lamp& lamp : gauge.lamps) {
    std::vector<std::string> colours;
    for (const std::string& colour : lamp.colours) colours.push_back(yaml_quoted(colour));
    text += fmt::format("  - {{id: {}, colours: [{}]}}\n", yaml_quoted(lamp.id), fmt::join(colours, ", "));
  }
  text += "windows:\n";
  for (std::size_t w = 0; w < gauge.windows.size(); ++w)
    text += fmt::format("  - {{name: {}, from: {}, show: {}}}\n", yaml_quoted(gauge.windows[w].name),
                        from(gauge, w), show(gauge, gauge.windows[w].cue));
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

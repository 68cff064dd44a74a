#include "core/gauge/settings_sheet.h"

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

constexpr double left_by_arithmetic = 1e-6;  // what differs by less came from arithmetic

SheetRpm set_at(const Gauge& gauge, double rpm, const Speed* written) {
  SheetRpm set{rpm, written != nullptr ? written->written : "", std::nullopt};
  if (gauge.drive && rpm != 0) set.speed = gauge.drive->speed_when_set(rpm, gauge.tolerance.rpm);
  return set;
}

std::optional<double> anchor_rpm(const Gauge& gauge, const std::string& name) {
  for (const auto& [known, rpm] : gauge.anchors)
    if (known == name) return rpm;
  return std::nullopt;
}

bool counts_in(const Window& window) {
  return window.name.starts_with("count-in-") && !window.anchor.empty();
}

SheetCountIn count_in(const Gauge& gauge, std::size_t first, std::size_t beyond) {
  SheetCountIn found;
  found.ends_at = gauge.windows[first].anchor;
  found.end_rpm = anchor_rpm(gauge, found.ends_at).value_or(gauge.windows[first].from_rpm);
  found.span_rpm = found.end_rpm - gauge.windows[first].from_rpm;
  found.evenly = true;
  const auto count = static_cast<double>(beyond - first);
  for (std::size_t w = first; w < beyond; ++w) {
    const double offset = gauge.windows[w].from_rpm - found.end_rpm;
    const double even = found.span_rpm * (static_cast<double>(w - first) / count - 1);
    found.evenly = found.evenly && std::fabs(offset - even) < left_by_arithmetic;
    found.offsets_rpm.push_back(offset);
  }
  return found;
}

}  // namespace

SettingsSheet settings_sheet(const Gauge& gauge) {
  SettingsSheet sheet;
  for (const auto& [name, rpm] : gauge.anchors)
    sheet.anchors.push_back({name, set_at(gauge, rpm, gauge.speed_of_anchor(name))});
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    const Window& window = gauge.windows[w];
    SheetWindow row;
    row.name = window.name;
    row.cue = gauge.describe(window.cue);
    if (w + 1 < gauge.windows.size()) row.width_rpm = gauge.windows[w + 1].from_rpm - window.from_rpm;
    const Speed* written = gauge.speed_of_window(w);
    if (const auto anchor = anchor_rpm(gauge, window.anchor)) {
      row.anchor = window.anchor;
      row.offset_rpm = window.from_rpm - *anchor;
      if (written != nullptr) row.offset_written = written->written;
      written = nullptr;
    }
    row.from = set_at(gauge, window.from_rpm, written);
    if (counts_in(window)) {
      const bool goes_on =
          w > 0 && counts_in(gauge.windows[w - 1]) && gauge.windows[w - 1].anchor == window.anchor;
      if (!goes_on) {
        std::size_t beyond = w + 1;
        while (beyond < gauge.windows.size() && counts_in(gauge.windows[beyond]) &&
               gauge.windows[beyond].anchor == window.anchor)
          ++beyond;
        sheet.count_ins.push_back(count_in(gauge, w, beyond));
      }
      row.count_in = sheet.count_ins.size() - 1;
    }
    sheet.windows.push_back(std::move(row));
  }
  return sheet;
}

}  // namespace tachproof

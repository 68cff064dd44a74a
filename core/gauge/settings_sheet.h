// What a person types into a unit of this gauge, row by row: the rpm of a gauge file in the order
// of its windows, with what a unit wants to know of them beside. The rest (deadband, blink, pulses
// per revolution) is in the gauge as it is.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"

namespace tachproof {

// An rpm that is set, and what it means in the car.
struct SheetRpm {
  double rpm = 0;
  std::string written;            // the speed that a person wrote; empty where it was an rpm
  std::optional<Quantity> speed;  // m/s, of lamps set so; nothing without a drive, or at 0 rpm
};

struct SheetAnchor {
  std::string name;
  SheetRpm at;
};

struct SheetWindow {
  std::string name;
  std::string anchor;                   // empty: `from` itself is set
  double offset_rpm = 0;                // from the anchor
  std::string offset_written;           // the speed that a person wrote; empty where it was an rpm
  SheetRpm from;                        // where it begins
  std::optional<double> width_rpm;      // to the next window; nothing for the highest
  std::string cue;                      // "left white, mid blue"
  std::optional<std::size_t> count_in;  // of the sheet's count-ins: the one that it is part of
};

struct SheetCountIn {
  std::string ends_at;  // anchor
  double end_rpm = 0;
  double span_rpm = 0;
  bool evenly = false;              // its windows divide the span evenly
  std::vector<double> offsets_rpm;  // of each window, from the anchor
};

struct SettingsSheet {
  std::vector<SheetAnchor> anchors;  // as in the file
  std::vector<SheetWindow> windows;  // lowest first
  std::vector<SheetCountIn> count_ins;
};

SettingsSheet settings_sheet(const Gauge& gauge);

}  // namespace tachproof

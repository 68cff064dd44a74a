// What changes from one gauge's settings to another's: what a unit that is
// given the new ones should do differently, and nothing else.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/base/verdict.h"
#include "core/gauge/gauge.h"

namespace tachproof {

struct NumberChange {
  double before = not_measured, after = not_measured;  // NaN: there is none
  double by() const { return after - before; }
  bool changed() const;
};

// A window before and after. It is the same window when it has the same name,
// else when it begins at the same rpm: then it is called something else now.
struct WindowChange {
  std::optional<std::size_t> before, after;  // its number in either gauge; nothing: not there
  std::string name;                          // now, or as it was
  std::string was_called;                    // empty, unless it had another name
  NumberChange from_rpm;                     // the boundary where it begins
  NumberChange rising_rpm, falling_rpm;      // its thresholds; NaN for the lowest window
  std::string speed_before, speed_after;     // of from_rpm: "59.998 km/h +-0.31"; empty without a drive
  std::string cue_before, cue_after;         // "left white, mid blue"; empty where it is not there

  bool moved() const { return before && after && from_rpm.changed(); }
  bool cue_changed() const { return before && after && cue_before != cue_after; }
};

struct NamedChange {
  std::string name;  // "pit", "deadband", "response at most"
  std::string unit;  // "rpm", "Hz", "ms"; empty for a ratio
  NumberChange value;
  // What an anchor's rpm mean: "59.998 km/h +-0.31"; empty without a drive.
  std::string speed_before = {}, speed_after = {};
};

struct SettingsChange {
  std::string name_before, name_after;
  std::vector<WindowChange> windows;  // the new order; what is gone stands in its old place
  std::vector<NamedChange> anchors;   // only those that changed, were added or are gone
  std::vector<NamedChange> numbers;   // the same for deadband, blink, tolerance, ...
  Sits sits_before = Sits::below, sits_after = Sits::below;
  std::vector<std::string> lamps;    // one sentence for each difference
  std::vector<std::string> buttons;  // the same for buttons, power-up and supply
  std::vector<std::string> drive;    // likewise: gear, final drive, tyre
};

SettingsChange settings_change(const Gauge& before, const Gauge& after);

// A sentence for each difference, as a person would say it; empty when nothing
// differs: "anchor pit moves up 60 rpm (3720 to 3780): closing, on-limit move
// with it", "deadband 7 to 9 rpm", "everything above 4200 rpm unchanged".
std::vector<std::string> sentences(const SettingsChange& change);

}  // namespace tachproof

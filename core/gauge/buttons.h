// What a person can press on a unit, and what it does when its supply comes back.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/cue.h"

namespace tachproof {

// The present rpm becomes this boundary's: its anchor moves, and every boundary that
// hangs from that anchor. Outside lowest..highest nothing changes.
struct TakeRpm {
  std::size_t boundary = 0;  // index of the window that begins there; >= 1
  double lowest_rpm = 0, highest_rpm = 0;
};
// The dial shows the highest rpm since it was cleared; pressed again within that
// time, it is cleared.
struct ShowPeak {
  Nanos lasts = 0;
};
// Each press the next level, then the first again.
struct Dim {
  std::vector<double> levels;  // shares of full light, 0..1; the first is where a new unit starts
};

struct Button {
  std::string name;
  std::variant<TakeRpm, ShowPeak, Dim> does;
};

// What the unit shows of itself when it wakes.
struct Greeting {
  Cue cue;
  Nanos lasts = 0;
};

struct PowerUp {
  // From the supply's return to the greeting, or, without one, to the rpm's own cue.
  Nanos boot_from = 0, boot_to = 0;
  std::optional<Greeting> greets = {};
  std::vector<std::string> keeps = {};  // buttons whose effect survives a loss of power
};

// What the unit may be fed.
struct SupplyRange {
  double lowest_v = 0, highest_v = 0;
};

struct Gauge;
struct Problem;

// The button with this name, or nothing.
const Button* button_named(const Gauge& gauge, const std::string& name);
bool keeps(const PowerUp& power_up, const std::string& button);

// The gauge whose boundary is taken to be at `rpm`, whatever is allowed.
Gauge with_boundary_at(const Gauge& gauge, std::size_t boundary, double rpm);

// The rules that buttons and power-up must keep; see problems_of in gauge.h.
std::vector<Problem> problems_of_buttons(const Gauge& gauge);

}  // namespace tachproof

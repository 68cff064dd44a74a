// A gauge: a kind of tachometer with its settings.
//
// Windows are numbered from 0, lowest first. Boundary b (1 <= b < windows) is
// where window b begins; it carries window b's name. The deadband splits each
// boundary into a rising and a falling threshold:
//
//     sits      rising       falling
//     below     B            B - width
//     centred   B + width/2  B - width/2
//     above     B + width    B
//
// A unit that shows window b-1 moves up when its rpm reaches the rising
// threshold (>=), and back down when its rpm is under the falling one (<).
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/buttons.h"
#include "core/gauge/cue.h"
#include "core/gauge/drive.h"

namespace tachproof {

struct Lamp {
  std::string id;
  std::vector<std::string> colours;
};

struct Window {
  std::string name;
  double from_rpm = 0;  // the boundary: anchors already resolved
  Cue cue;
  std::string anchor = {};  // that its boundary hangs from; empty: none
  // Where the file says a speed: the offset from the anchor or, without one, the boundary's.
  std::optional<Speed> from_speed = {};
  // Where the boundary turns, rising and falling, if elsewhere than `from_rpm` and the deadband say. No
  // gauge file says so: it is what a unit does whose boundaries have changed places.
  std::optional<std::pair<double, double>> turns_at = {};
};

enum class Sits { below, centred, above };
std::string_view word(Sits sits);      // "below", ...
std::string_view words_of(Sits sits);  // "below the boundary", ...
std::optional<Sits> sits_named(std::string_view word);

struct Deadband {
  double rpm = 0;  // width
  Sits sits = Sits::below;
};

struct Blink {
  double hz = 0;
  double duty = 0.5;  // lit share of a period, 0..1

  double shorter_phase_s() const { return std::min(duty, 1 - duty) / hz; }  // lit or dark, whichever
};

struct Tolerance {
  double rpm = 0;           // each threshold, either way
  Nanos response_from = 0;  // from the signal's change to the lamps'
  Nanos response_to = 0;
  Nanos settle = 10 * ns_per_ms;  // lamps of one change need not move together
  double blink_hz = 0.4;
  double blink_duty = 0.1;
  Nanos signal_lost = ns_per_s;  // after the last pulse, until the lowest window shows
};

struct Gauge {
  std::string name;
  double pulses_per_rev = 1;
  std::vector<std::pair<std::string, double>> anchors;  // file order, rpm
  std::vector<Lamp> lamps;                              // left to right
  std::vector<Window> windows;                          // lowest first; [0] begins at 0
  Deadband deadband;
  std::optional<Blink> blink;  // always there when a window blinks
  Tolerance tolerance;
  std::vector<Button> buttons = {};
  std::optional<PowerUp> power_up = {};
  std::optional<SupplyRange> supply = {};
  std::optional<Drive> drive;                                // what rpm mean in the car
  std::vector<std::pair<std::string, Speed>> anchor_speeds;  // of the anchors that the file says in speeds
  double resolution_rpm = 0;                                 // the unit is set in steps of this; 0: not said

  std::size_t boundaries() const { return windows.empty() ? 0 : windows.size() - 1; }
  double rising_rpm(std::size_t boundary) const;
  double falling_rpm(std::size_t boundary) const;

  std::size_t channels() const;   // how many (lamp, colour) pairs there are
  Channels all_channels() const;  // a bit for each of them
  // The pair's bit, or 0 when there is no such lamp or colour.
  Channels channel(std::string_view lamp, std::string_view colour) const;
  Channels lamp_channels(std::size_t lamp) const;  // all colours of one lamp
  // "left white": lamp and colour of the channel with this index.
  std::string channel_name(std::size_t index) const;
  // "left white, mid blue blinking", lamps left to right; "dark" for nothing.
  std::string describe(const Cue& cue) const;
  std::string describe(Channels lit) const;

  // The speed that a person wrote, where it still is what the rpm comes from; else null.
  const Speed* speed_of_anchor(std::string_view name) const;
  const Speed* speed_of_window(std::size_t window) const;
};

// One rule of a gauge that does not hold. `path` names the place as the gauge
// file would: "windows[3].from", "deadband.rpm".
struct Problem {
  std::string path;
  std::string found;    // what is there
  std::string allowed;  // what may be there
};

// Every rule that a gauge must keep: windows in order, the first at 0, names
// unique, no channel both steady and blinking, one colour per lamp in a cue,
// a deadband narrower than every window that has a boundary on both sides,
// a blink where a window blinks, tolerances finite and not negative, and buttons
// that leave a sound gauge whatever they take.
// Empty when the gauge is sound.
std::vector<Problem> problems_of(const Gauge& gauge);

// The unit's lamp logic in its plainest form: the window after `rpm` has been
// believed, coming from window `from`.
std::size_t next_window(const Gauge& gauge, std::size_t from, double rpm);

}  // namespace tachproof

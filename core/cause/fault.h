// One thing that is wrong with a unit: what it is, where, and how much.
//
// A fault is written against the gauge that the unit should run: its indices are that gauge's.
// Most kinds are a change of what the unit does in each window of rpm, and can be put into a gauge
// (with_fault); the others need a unit that fails at some instant.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/gauge/gauge.h"

namespace tachproof {

struct Fault {
  // In brackets: the places that it needs, and what its size is.
  enum class Kind {
    // settings
    boundary_moved,  // [boundary; rpm up]
    anchor_moved,    // [anchor; rpm up] with all boundaries that hang from it
    count_in_span,   // [boundary: the first of the count-in; window, where it ends, else after its last step;
                     // rpm longer] it still ends where it did
    count_in_uneven,       // [boundary of a count-in; rpm up]
    deadband_missing,      // []
    deadband_width,        // [; rpm, the width that it has]
    deadband_side,         // [side]
    over_rev_missing,      // [] the highest window never shows
    wrong_colour,          // [channel, other_channel of the same lamp; window, or everywhere]
    cues_swapped,          // [window, other_window]
    blink_absent,          // [window, or everywhere] lit steadily instead
    blink_rate,            // [; Hz, the rate that it has]
    blink_duty,            // [; lit share that it has]
    wrong_pulses_per_rev,  // [; the number that the unit counts with]
    settings_of,           // [file; accepted] another gauge's settings
    // lamps, wires and supply
    swapped_lamps,  // [lamp, other_lamp] first colour for first colour, and so on
    wires_swapped,  // [channel, other_channel]
    lamp_dark,      // [lamp, or channel] never lit: lamp, its wire or its driver
    stuck_on,       // [channel] always lit
    stuck_off,      // [lamp, or channel] as lamp_dark; the simulated unit's name for it
    no_power,       // [] nothing is ever lit
    no_signal,      // [] the unit gets no pulses: it shows the lowest window
    // the reading
    slow_response,    // [; ms, the response that it has]
    slow_filter,      // [; ms, time constant of a low-pass]
    dropped_updates,  // [; share]
    noisy_reading,    // [; rpm, standard deviation]
    // at an instant
    intermittent_lamp,  // [lamp; times a minute]
    freeze,             // [window; s from the start, for good] the lamps stay as they are
    reset,              // [window; s from the start] the supply fails for a moment
    // buttons and power-up: seen only where a scenario presses, or cuts the supply
    take_ignored,      // []
    take_not_refused,  // [] takes any rpm
    take_other_end,    // [] the window's other boundary gets the rpm
    take_late,         // [; ms] the rpm of that long ago
    take_lost,         // [] not kept over a loss of power
    settings_reset,    // [anchor; rpm up] off after a loss of power
    peak_not_cleared,  // []
    dim_missing,       // [; per cent, the level that is left out]
    dim_colour,        // [lamp, other_channel] its colour when dimmed
    slow_boot,         // [; ms longer]
    greets_wrong,      // [lamp] the only one that it greets with
    // supply: seen only where a scenario changes the voltage
    supply_drift,  // [; rpm per volt] all boundaries, as set in the middle of what it may be fed
    brown_out,     // [; V] off when it is fed less
    no_return      // [] off for want of voltage, and for good
  };

  Kind kind = Kind::boundary_moved;
  std::optional<std::size_t> boundary = {};
  std::optional<std::size_t> window = {}, other_window = {};
  std::optional<std::size_t> lamp = {}, other_lamp = {};
  std::optional<std::size_t> channel = {}, other_channel = {};  // indices, as of Gauge::channel_name
  std::optional<std::size_t> anchor = {};                       // of Gauge::anchors
  std::optional<Sits> side = {};
  std::string file = {}, accepted = {};  // settings_of: see OtherGauge
  std::optional<double> size = {};       // in unit_of(kind)

  bool operator==(const Fault&) const = default;
};

// "boundary-moved": as in files and in JSON. The simulated unit's kinds have its names.
std::string_view word(Fault::Kind kind);
std::optional<Fault::Kind> fault_kind_named(std::string_view word);
std::vector<Fault::Kind> all_fault_kinds();

// Of its size: "rpm", "Hz", "ms", "s"; "a minute"; empty for a share, for pulses per revolution,
// and for kinds that have no size.
std::string_view unit_of(Fault::Kind kind);

// What it is in one line, without a full stop: "boundary on-limit is 6 rpm too high (3616 rpm, set:
// 3610)", "window closing shows left blue in place of left white".
std::string describe(const Fault& fault, const Gauge& gauge);

// The same for programs, in a fixed order. The simulated unit's kinds have its keys; freeze and
// reset have their window beside them.
struct FaultKeys {
  std::vector<std::pair<std::string, std::string>> words;  // {"boundary", "on-limit"}
  std::vector<std::pair<std::string, double>> numbers;     // {"by_rpm", 6}
  std::vector<std::string> channels;                       // of wires_swapped: {"left white", "mid blue"}
};
FaultKeys keys_of(const Fault& fault, const Gauge& gauge);

// Shows only where a button is pressed, or the supply comes back or changes.
bool is_of_buttons(Fault::Kind kind);

// Whether with_fault can say what a unit with such a fault does.
bool is_change_of_settings(Fault::Kind kind);

// The gauge that a unit with this fault acts by. Pulses per revolution stay those of the bench: a
// unit that counts with others has its boundaries and its deadband elsewhere. A slow response, or
// filter, moves the allowed responses so that its size is in their middle. The result need not keep
// the rules of a gauge (problems_of): boundaries may have changed places, and a lamp may show two colours.
// Throws std::invalid_argument for a kind that is no change of settings, and for a place
// or a size that is missing or that the gauge does not have.
Gauge with_fault(const Gauge& gauge, const Fault& fault);

// Each count-in of the gauge: its first boundary, and the boundary where it ends.
std::vector<std::pair<std::size_t, std::size_t>> count_ins(const Gauge& gauge);
// Where the count-in of this fault ends: an index of windows, or their number where none follows it.
std::optional<std::size_t> count_in_end(const Gauge& gauge, const Fault& fault);

}  // namespace tachproof

// Everything that the parts of the simulated unit need to know: its gauge,
// the behaviour with every default filled in, and what its faults change.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/simulated/spells.h"
#include "core/base/time.h"
#include "core/flicker/flicker.h"
#include "core/gauge/gauge.h"

namespace tachproof {

// Goes dark now and then, at random.
struct Intermittent {
  Channels channels = 0;
  double per_min = 0;
  Nanos lasts = 0;
};

// The supply fails for an instant, whatever it is fed.
struct Reset {
  Nanos at = 0;
  std::optional<Nanos> boot = {};  // nothing: as at any other power-up
};

// Its boundaries move with the voltage; at this voltage they are where they are set.
struct SupplyDrift {
  double rpm_per_v = 0;
  double at_v = 0;
};

// What is wrong with its buttons.
struct ButtonFaults {
  bool take_ignored = false;
  bool take_not_refused = false;  // takes any rpm
  bool take_other_end = false;    // the other boundary of the window gets the rpm
  bool take_lost = false;         // no take is kept over a loss of power
  Nanos take_late = 0;            // takes the rpm of this long ago
  bool peak_not_cleared = false;
  std::vector<double> skipped_levels;  // of dimming, as shares
  struct Anchors {
    std::string name;  // empty: all
    double by_rpm = 0;
  };
  std::optional<Anchors> reset_to = {};  // after a loss of power the anchors are off by this
};

// A lamp that changes its colour with its light.
struct DimColour {
  Channels lamp = 0;
  Channels to = 0;
};

struct UnitSettings {
  Gauge gauge;  // thresholds, cues, blink and pulses per revolution, faults applied

  double timer_hz = 1e6;
  std::int64_t averaging_pulses = 4;  // used when averaging == 0
  Nanos averaging = 0;                // the average is over the last periods that fit; at least one
  Nanos signal_lost = 0;              // after this long without a pulse the reading is 0
  double update_hz = 100;             // 0: a reading at every pulse
  double resolution_rpm = 1;          // 0: none
  Nanos response = 0;                 // from the decision to the lamps
  // From the supply's return to the greeting, or, without one, to the lowest window.
  Nanos boot_from = 0, boot_to = 0;
  bool boots_first = false;  // it begins with a boot; else it was awake before
  Nanos boot_late = 0;       // every boot takes this much longer
  double lowest_v = 6;       // fed less for longer than `holds`, it is off
  Nanos holds = 20 * ns_per_ms;
  bool stays_off = false;  // once it was off for want of voltage, until its supply is cut
  SupplyDrift drift;
  double dim = 1;
  double dim_hz = 400;

  Nanos filter = 0;  // time constant of a low-pass on the reading
  double noise_rpm = 0;
  double dropped_share = 0;  // of the updates
  Channels stuck_on = 0;     // channels of `gauge`, as all below
  Channels stuck_off = 0;
  std::vector<Intermittent> intermittent;
  std::vector<Spell> frozen;
  std::vector<Reset> resets;
  ButtonFaults buttons;
  std::vector<DimColour> dim_colours;
};

// What a healthy unit with this behaviour does; faults are not looked at.
//
// A field that the behaviour leaves open is chosen to suit the gauge. What the
// lamps show at t rests on the signal between t - response and t - response -
// (update interval + averaging + wait for the next pulse), the last two at the
// slowest pulses that matter: those of the lowest falling threshold. That
// whole stretch is fitted inside tolerance.response_from .. response_to: fewer
// pulses are averaged if need be, then the response is moved. Where even one
// pulse period is too long for the tolerance, the unit is as fast as it can be.
//
// Throws std::invalid_argument with a sentence for a field out of its range.
UnitSettings healthy_settings(const Gauge& gauge, const Behaviour& behaviour);

// How a healthy unit with this behaviour reads pulses. A time of averaging holds
// the fewest pulses, and averages least, at the lowest boundary: that many.
UnitReading unit_reading(const Gauge& gauge, const Behaviour& behaviour);

}  // namespace tachproof

// A tachometer from physics: edges in, lamp lines out, in continuous time.
//
//     edges -> input filter -> reading -> display update -> window -> delay -> picture
//           -> blink -> each lamp's own lateness -> dimming -> line
//
// Readings, with how late each of them is on a slow ramp of period p:
//   pulses       N periods by the clock: 60 N / (ppr (t_n - t_{n-N}))               N p / 2
//   exponential  one period, smoothed: y += (1 - exp(-p / tau)) (x - y)              about tau
//   gate         whole periods within a fixed gate by the clock, at the gate's end   about half the gate
//   counts       edges within a fixed gate, counted                                  half the gate
//   loop         a second-order loop locked to the pulses' phase; its integrator is read:
//                Ki / (s^2 + Kp s + Ki)                                              2 zeta / omega
#pragma once

#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "tests/study/draw.h"

namespace tachproof::study {

enum class Reading { pulses, exponential, gate, counts, loop };
inline constexpr int readings = 5;

struct Spell {
  enum class Kind { frozen, picture } kind = Kind::frozen;
  double from_s = 0, until_s = 0;
  std::size_t window = 0;  // picture: shows `cue` in place of this one's
  Cue cue;
};

struct Unit {
  // What it reads.
  double holdoff_s = 0;  // an edge sooner after the one before is not believed
  double pulses_per_rev = 1;
  Reading reading = Reading::pulses;
  int pulses = 1;
  double tau_s = 0, gate_s = 0, omega = 0, zeta = 1;
  double update_hz = 0;  // of the display; 0: with every reading
  double update_phase = 0;
  double round_rpm = 0;  // to a multiple of this, the nearest

  // What it makes of it.
  std::vector<double> rising, falling;  // [b], b from 1
  double delay_up_s = 0, delay_down_s = 0;
  std::vector<Cue> cues;
  std::vector<Spell> spells;

  // How it shows it.
  enum class Start { free, lit, dark } start = Start::free;
  bool blinks = true;      // false: what should blink is lit
  bool never_lit = false;  // and with that: or dark
  double blink_hz = 1, blink_duty = 0.5, blink_phase = 0;
  Channels stuck_lit = 0, stuck_dark = 0;
  std::vector<double> late_s;  // by channel
  double pwm_hz = 0, pwm_duty = 1, pwm_phase = 0;

  double latest_lamp_s() const;
  // From the engine's change to the lamps', on a slow ramp, at this rpm: at best and at worst.
  double least_delay_s(double rpm, bool up) const;
  double most_delay_s(double rpm, bool up) const;
  // The engine's rpm at which it moves, by what it is set to: one value, or from..to where it counts edges
  // and one more or less comes into the gate by chance.
  struct Threshold {
    double from = 0, to = 0;
    double middle() const { return (from + to) / 2; }
  };
  Threshold effective(std::size_t b, bool up, double true_pulses_per_rev) const;
  std::string type() const;  // for the tables
};

struct Moment {
  double at_s = 0;
  std::size_t window = 0;
};
struct Seen {
  double at_s = 0;
  Channels lit = 0;
};
struct Shown {
  std::vector<Moment> windows;  // shown, by the unit's own logic; the first at the start
  std::vector<Seen> picture;    // what the lamps mean: no lateness, no dimming
  std::vector<Seen> lines;      // what the wires carry
};

// `rises` in time order, from wherever the unit was switched on.
Shown watch(const Unit& unit, const std::vector<double>& rises, double begins_s, double until_s);
// EMI of 0.1 to 5 us on lamp lines, from 0 on.
void glitch(std::vector<Seen>& lines, int channels, double per_s, double until_s, Draw& draw);

}  // namespace tachproof::study

// Flicker by simulation: every deadband width, every mean rpm and every
// boundary out of one pass over the same noise.
//
// Sixteen trains run side by side. Their noise is drawn once and put to each
// place (a boundary's rpm); each reading there becomes a level, and rainflow
// pairs of levels answer for all thresholds at once. A chunk of work is a pure
// function of its number, and tallies add up in whole numbers: how many threads
// did the chunks, and in which order, cannot show.
//
//     FlickerTally all(setup);
//     for (std::uint64_t c = 0; c < setup.chunks; ++c) all.add(flicker_chunk(setup, c));
//     for (std::size_t w = 0; w < setup.widths(); ++w) use(all.worst(0, w));
//
// Where a firing pattern and the unit's updates stand in a simple ratio, a unit
// sees the same pulses of the engine cycle again and again, and which ones is an
// accident of how it was switched on. Each such phase is simulated by itself, and
// the worst of them stands for the place: see flicker_phases.
//
// Pulses that are missing or doubled are left out: see disturbances_per_min.
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include "core/flicker/rainflow.h"
#include "core/signal/edges.h"
#include "core/signal/noise.h"

namespace tachproof {

// How a unit makes a reading of the pulses.
struct UnitReading {
  int averaging_pulses = 4;  // 1..most_averaged
  double update_hz = 100;    // 0: at every pulse
  double resolution_rpm = 0;
  double timer_hz = 1e6;

  static constexpr int most_averaged = 64;
};

struct FlickerSetup {
  Noise noise;
  double pulses_per_rev = 1;
  UnitReading unit;
  std::vector<double> places_rpm;
  double step_rpm = 0.5;     // between levels, and between widths
  double widest_rpm = 50;    // widths 0, step, ... up to this
  double reach_rpm = 25;     // the mean is sought so far from the deadband's middle
  double narrowest_rpm = 0;  // widths below this are not asked for, and not counted: faster
  std::uint64_t seed = 0;
  std::uint64_t steps = 1 << 16;  // pulses of each train in a chunk
  std::uint64_t chunks = 1;

  std::size_t widths() const;
  double width_rpm(std::size_t index) const { return step_rpm * static_cast<double>(index); }
};

// How a unit's updates lie to the firing pattern at one place: the updates come
// `spacing` pulses apart, and there are `count` ways to lie that never mix. A single way: no pattern
// that the average leaves, no updates of the unit's own, or no simple ratio, so
// that every unit goes through all of them.
//
// A spacing of p/q pulses, in lowest terms, against a cycle of F pulses has
// gcd(p, F) ways of 1/q pulse each; as many again lie between two of them, where an
// update falls upon a pulse and jitter decides, each time anew, whether it is in the
// reading: `count` has both, those between last. Engine and unit are taken to be in
// a simple ratio, q up to 8, where they are within 0.2 % of it: a foot on the pedal
// holds it for a while. A recording's own pattern is not looked for.
struct FlickerPhases {
  double spacing = 1;
  std::size_t count = 1;
  std::size_t per_pulse = 1;
};
FlickerPhases flicker_phases(const FlickerSetup& setup, double rpm);

// A recording has only so many pulses, and going over them again adds nothing:
// steps and chunks to suit it. Other noise is left as it is.
void fit_to_recording(FlickerSetup& setup);

// One width at one place, the mean held where it flickers most.
struct Flicker {
  double width_rpm = 0;
  double mean_off_rpm = 0;  // the mean rpm, from the middle of the deadband
  double cycles = 0;        // seen; the lamp changes twice in each
  double minutes = 0;       // simulated
  double dispersion = 1;    // variance of the trains' counts by their mean: 1 for a Poisson process
  double trains = 1;

  double changes_per_min() const { return minutes > 0 ? 2 * cycles / minutes : 0; }
  // Upper limit on the changes per minute, one-sided: the exact Poisson limit,
  // with changes that cluster counted as the fewer events that they are worth;
  // or Student's limit over the trains, where that is higher.
  double upper_per_min(double confidence) const;
};

class FlickerTally {
 public:
  explicit FlickerTally(const FlickerSetup& setup);
  void add(const FlickerTally& other);
  // In the worst of the phases, as are all answers.
  Flicker worst(std::size_t place, std::size_t width) const;
  // With the mean so far from the deadband's middle, to the nearest half step.
  Flicker held(std::size_t place, std::size_t width, double mean_off_rpm) const;

  // Adds one train's rainflow pairs at one place in one phase.
  void add_train(std::size_t place, std::size_t phase, const PairCounts& pairs, double minutes);
  std::size_t phases(std::size_t place) const { return first_slot_[place + 1] - first_slot_[place]; }
  std::size_t slots() const { return first_slot_.back(); }  // places, each in each of its phases

  // Levels -half..half around the mean; a reading's number is that of levels
  // which it has reached.
  std::size_t levels() const { return 2 * half_ + 1; }
  std::size_t half() const { return half_; }

 private:
  struct Cell {
    std::uint64_t sum = 0;
    std::uint64_t squares = 0;  // of the trains' counts
  };
  // A slot is a place in one of its phases.
  std::size_t index_of(std::size_t slot, std::size_t width, std::size_t upper) const {
    return (slot * widths_ + width) * levels() + upper;
  }
  const Cell& cell(std::size_t slot, std::size_t width, std::size_t upper) const {
    return cells_[index_of(slot, width, upper)];
  }
  Flicker flicker(std::size_t slot, std::size_t width, std::size_t upper) const;
  Flicker worst_of(std::size_t slot, std::size_t width) const;
  Flicker held_in(std::size_t slot, std::size_t width, double mean_off_rpm) const;
  template <class Of>
  Flicker worst_phase(std::size_t place, const Of& of) const;
  bool asked(std::size_t width, std::size_t upper) const;

  double step_rpm_;
  std::size_t widths_;
  std::size_t narrowest_;  // that is asked for
  std::size_t half_;
  std::size_t reach_;  // in half steps
  std::vector<Cell> cells_;
  std::vector<std::size_t> first_slot_;  // by place, and one more
  std::vector<double> train_minutes_;    // by slot
  std::uint64_t trains_ = 0;             // in each slot
};

// Some of a chunk's sixteen trains: the parts of a chunk add up to the whole of it.
struct TrainSpan {
  std::size_t first = 0, end = 16;
};
// `between` is called now and then, and may throw.
FlickerTally flicker_chunk(const FlickerSetup& setup, std::uint64_t chunk,
                           Instructions with = best_instructions(), const std::function<void()>& between = {},
                           TrainSpan trains = {});

// Lamp changes per minute that missing and doubled pulses make by themselves: a
// reading that is off by a whole pulse carries a lamp over and back, whatever
// the deadband.
double disturbances_per_min(const Noise& noise, double pulses_per_rev, double rpm);

// The closed form for a deadband of this width, its middle at the mean, in lamp
// changes per minute; NaN where there is none that holds:
//   jitter alone: independent readings; exact where readings share no edge,
//   within 1 % for 4 pulses and more and up to a standard deviation;
//   wander alone, of at least 10 readings' time: sampled Ornstein-Uhlenbeck, for
//   deadbands of at least half its standard deviation;
//   any normal noise without a deadband: the cosine formula.
double closed_form_per_min(const Noise& noise, const UnitReading& unit, double pulses_per_rev, double rpm,
                           double width_rpm);

// Twice the rate at which readings pass the upper edge of such a deadband on
// their way up (Rice): flicker is never above it, and comes to it as the deadband
// goes to 0. For jitter and wander together as for each alone; NaN for a firing
// pattern or a recording.
double crossings_per_min(const Noise& noise, const UnitReading& unit, double pulses_per_rev, double rpm,
                         double width_rpm);

}  // namespace tachproof

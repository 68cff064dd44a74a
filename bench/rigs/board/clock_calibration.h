// The board's clock against a known frequency on one of its inputs.
#pragma once

#include <cstdint>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/board/board_link.h"
#include "core/base/time.h"

namespace tachproof {

// Between true time and the board's, both from an instant that they share.
Nanos board_time(const ClockSetting& clock, Nanos true_time);
Nanos true_time(const ClockSetting& clock, Nanos board_time);

struct ReferenceSignal {
  double hz = 1;          // of its rising edges
  double within_ppm = 0;  // its own error is no larger
};

// What one of the board's inputs saw of a reference, in the board's ticks.
struct ReferencePulses {
  std::vector<LinkTicks> rising;
  LinkTicks from = 0, until = 0;  // watched all the time in between
  std::uint64_t lost = 0;         // stamps that the board had no room for
  Nanos stamp_spread = 0;         // how differently late its stamps may be
};

struct Calibration {
  double fast_ppm = 0;
  double uncertainty_ppm = 0;  // standard, with what a crystal drifts until the next calibration
  std::size_t pulses = 0;
  double lasts_s = 0;     // from the first pulse to the last
  double scatter_us = 0;  // standard deviation of the pulses from an even beat
};

// A line through the pulses by least squares. Throws RigError, a sentence with
// the counts, unless every pulse that should be there is and no other: a
// missing or an extra one would be a wrong correction.
Calibration calibrate(const ReferencePulses& seen, const ReferenceSignal& reference);

inline constexpr std::size_t fewest_reference_pulses = 10;
inline constexpr Nanos shortest_calibration = 10 * ns_per_s;

}  // namespace tachproof

// What a unit with these settings shows, whatever its windows are called: thresholds that
// lamps can show, in their order, and the cues between them.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"

namespace tachproof {

// Where each boundary turns: [boundary], [0] is none. Of boundaries that a fault has put out of order a
// unit waits for each in turn on the way up, and likewise on the way down (next_window).
struct Turn {
  double rising_rpm = 0, falling_rpm = 0;
  bool operator==(const Turn&) const = default;
};
std::vector<Turn> turns(const Gauge& gauge);

// The same in order: windows that are passed in no time both ways are gone, and each boundary is
// where it turns. A gauge that is in order stays as it is.
Gauge as_it_acts(Gauge gauge);

struct Shown {
  using Threshold = Turn;
  std::vector<Cue> cues;              // lowest first; neighbours differ
  std::vector<Threshold> thresholds;  // thresholds[i]: from cues[i] to cues[i + 1]
  std::optional<Blink> blink;         // nothing where nothing blinks

  std::string key() const;  // equal for what shows the same, to a millionth
};

// `channels`: that are looked at.
Shown shown_by(const Gauge& gauge, Channels channels = ~Channels{0});

// Whether `b` differs from `a` by no more than the tolerance allows at any threshold, and in no cue.
bool within_tolerance(const Shown& a, const Shown& b, const Tolerance& tolerance);

}  // namespace tachproof

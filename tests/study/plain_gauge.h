// A gauge's numbers, taken from its fields and the deadband's definition alone: the study's own reading of
// what a gauge file says, in rpm and seconds.
#pragma once

#include <vector>

#include "core/gauge/gauge.h"
#include "tests/study/draw.h"

namespace tachproof::study {

struct PlainGauge {
  explicit PlainGauge(const Gauge& gauge);
  std::size_t boundaries() const { return cues.size() - 1; }

  // [b], b from 1: window b is entered from below at rpm >= rising[b], left again at rpm < falling[b].
  std::vector<double> rising, falling;
  std::vector<Cue> cues;  // [w]
  double pulses_per_rev = 1;
  double t_rpm = 0, from_s = 0, to_s = 0, settle_s = 0;
  double blink_hz = 0, blink_duty = 0, blink_hz_within = 0, blink_duty_within = 0;
  int channels = 0;
};

// May `lit` be what cue `c` looks like at some instant of its blink?
inline bool looks_like(const Cue& c, Channels lit) {
  return lit == c.steady || lit == (c.steady | c.blinking);
}
// The sides of the boundary differ by which lamps blink, not by which are used at all.
bool blink_only(const Cue& a, const Cue& b);

// 3 to 10 windows, no two neighbours with one cue; about half of them have a boundary that only a blink
// shows.
Gauge draw_gauge(Draw& draw);

}  // namespace tachproof::study

// The last step of judging: from what was seen to rows with verdicts.
#pragma once

#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/bench_facts.h"
#include "core/judge/blink_meter.h"
#include "core/judge/crossings.h"
#include "core/judge/findings.h"
#include "core/judge/result.h"
#include "core/judge/thresholds.h"
#include "core/judge/window_reading.h"

namespace tachproof {

// A demanded move with what the profile did there.
struct SeenTransition {
  Crossing crossing;
  double observed_rpm = not_measured;
  double rate_rpm_per_s = 0;  // at the nominal instant
  bool step = false;
  double step_response_s = 0;  // from the step to the change
  bool monotone = false;       // from earliest to latest: rpm and time decide the same
  double rpm_earliest = 0, rpm_latest = 0;
  bool blink_only = false;               // the two cues differ by blinking alone
  Nanos earliest_at = 0;                 // blink_only: it changed from then until crossing.at,
  double rpm_before = 0, rpm_after = 0;  // between these
  bool beyond_neighbours = false;        // it changed where another boundary's change is due
  bool disturbed = false;  // the signal was not the profile at some time in which it may have changed
  Nanos wrong_for = 0;     // disturbed: on the wrong side before or after it was due, all odd pulses left out
};

std::vector<TransitionResult> transition_rows(const Gauge& gauge, const std::vector<SeenTransition>& seen,
                                              const ThresholdFits& fits, const BenchUncertainty& bench,
                                              FindingLog& log);

// `meters[w][c]`: window w, channel c; only blinking ones are looked at.
// `demanded[w]`: for how long the settings demanded window w.
std::vector<BlinkResult> blink_rows(const Gauge& gauge, const WindowReading& reading,
                                    const std::vector<std::vector<BlinkMeter>>& meters,
                                    const std::vector<Nanos>& demanded, const BenchUncertainty& bench,
                                    FindingLog& log);

}  // namespace tachproof

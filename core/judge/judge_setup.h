// What the judge is told of a run: what to judge, and how well source and watcher know the time.
#pragma once

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/expectation.h"
#include "core/judge/time_relation.h"
#include "core/signal/noise.h"

namespace tachproof {

// What the scenario asks to be judged.
struct JudgeWhat {
  bool transitions = true;
  bool steady = true;
  bool blink = true;
  // Every visited boundary's threshold must be proven to the gauge's
  // tolerance (U no larger than the tolerance allows); else undecided.
  bool thresholds = true;
  // Above 0: the expanded uncertainty that is wanted of every threshold, in
  // rpm. A boundary that is known less well is undecided, unless it fails.
  double within_rpm = 0;
};

struct JudgeSetup {
  JudgeWhat what;
  Noise noise;  // scripted noise, for the tolerance it needs
  ExpectationOptions::Before before = ExpectationOptions::Before::no_signal;
  Channels wired = ~Channels{0};  // channels that the watcher sees
  Nanos source_tick = 1;          // resolution of the edges as played
  Nanos watcher_resolution = 1;   // resolution of the lamp stamps
  Nanos stamp_uncertainty = 0;    // standard, beyond resolution; of it, what is
  Nanos stamp_offset = 0;         // the same for all stamps of the run: told apart from no response
  Nanos stamp_width = 0;          // of the span that dates a change; 0: the resolution
  double clock_ppm = 0;           // source clock against true time, standard
  Nanos source_lag = 0;           // bound: the rpm played at t is that of an instant this near to t,
  double source_rpm = 0;          // bound: give or take this
  double rpm_uncertainty = 0;     // standard, of a recording's recovered rpm
  // By lamp_changes nothing that rests on time passes, and no threshold is told.
  TimeRelation time_by = TimeRelation::one_clock;
};

}  // namespace tachproof

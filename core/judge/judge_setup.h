// What the judge must know of a run: what to judge, and how well source and
// watcher know the time.
#pragma once

#include "core/gauge/gauge.h"
#include "core/judge/bench_facts.h"
#include "core/judge/expectation.h"
#include "core/signal/noise.h"

namespace tachproof {

class FitMemo;  // core/judge/fit_memo.h

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
  BenchFacts bench;
  // Its lamps were seen to change before: that none does now is the unit's doing, not a dead bench.
  bool lamps_live = false;
  double rpm_uncertainty = 0;  // standard, of a recording's recovered rpm
  FitMemo* memo = nullptr;     // of evidence that is judged more than once; must outlive the judge
};

// A survey, of a profile that is known as it was scripted: then less evidence of a threshold is enough.
inline bool is_quiet_survey(const JudgeSetup& setup) {
  return setup.what.within_rpm > 0 && setup.noise.quiet() && !(setup.rpm_uncertainty > 0);
}

// What the expectation of such a run allows for.
ExpectationOptions expectation_options(const Gauge& gauge, const JudgeSetup& setup);

}  // namespace tachproof

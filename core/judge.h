// The judge: timeline against expectation, one for every watcher.
//
// Streams in constant memory. Feed the rpm as segments, the lamps as events,
// both in time order and in any interleaving; then finish.
//
//     Judge judge(gauge, setup);
//     for (const Segment& s : profile.segments()) judge.rpm(s);
//     for (const LampEvent& e : timeline) judge.lamps(e);
//     RunResult result = judge.finish(profile.duration());
#pragma once

#include <functional>
#include <memory>
#include <span>
#include <string>

#include "core/expectation.h"
#include "core/gauge.h"
#include "core/noise.h"
#include "core/profile.h"
#include "core/pulse_train.h"
#include "core/result.h"
#include "core/time_relation.h"
#include "core/timeline.h"

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
  double clock_ppm = 0;           // source clock against true time, standard
  Nanos source_lag = 0;           // bound: the rpm played at t is that of an instant this near to t,
  double source_rpm = 0;          // bound: give or take this
  double rpm_uncertainty = 0;     // standard, of a recording's recovered rpm
  // By lamp_changes nothing that rests on time passes, and no threshold is told.
  TimeRelation time_by = TimeRelation::one_clock;
};

class Judge {
 public:
  Judge(const Gauge& gauge, const JudgeSetup& setup);
  ~Judge();
  Judge(Judge&&) noexcept;

  void rpm(const Segment& segment);               // adjoining, in time order
  void lamps(std::span<const LampEvent> events);  // time order
  void seen_until(Nanos until);                   // no lamp event before this is still to come
  // The signal was not the profile (a missing or doubled pulse): in from..to the unit
  // may show anything, and is judged before and after. In time order, each told before
  // the lamps of `from`.
  void disturbed(Nanos from, Nanos to);
  void answered(const AnswerResult& answer);
  void found(const Finding& finding);  // the bench's own: lost evidence, faults
  void lost(std::uint64_t count);      // lamp changes known to be lost
  void pulses(std::uint64_t count);    // for the evidence
  // What these channels' blinks look like may be another rate's doing: none of their rows has
  // numbers or passes. The watcher gives a finding beside it.
  void unsure_blinks(Channels channels);
  // The watcher's clock does not go with the run's, `why`, a clause: no row has numbers, passes or fails.
  void untimed(const std::string& why);
  // Windows as decided so far, for a live display and for drawings; called
  // in time order with the expected set and, per seen span, what was seen.
  void on_reach(std::function<void(const Reach&)> sink);

  // `seen_until`: the watcher's word that nothing is missing before it.
  // `complete`: the scenario was played to its end.
  RunResult finish(Nanos seen_until, bool complete = true);

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tachproof

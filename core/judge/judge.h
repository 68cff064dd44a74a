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

#include "core/gauge/gauge.h"
#include "core/judge/expectation.h"
#include "core/judge/judge_setup.h"
#include "core/judge/result.h"
#include "core/judge/timeline.h"
#include "core/signal/profile.h"
#include "core/signal/pulse_train.h"

namespace tachproof {

class Judge {
 public:
  Judge(const Gauge& gauge, const JudgeSetup& setup);
  ~Judge();
  Judge(Judge&&) noexcept;

  void rpm(const Segment& segment);               // adjoining, in time order
  void lamps(std::span<const LampEvent> events);  // time order
  void seen_until(Nanos until);                   // no lamp event before this is still to come
  // The signal was not the profile (a missing or doubled pulse): in from..to the unit
  // may show anything, and is judged before and after. In time order, each given
  // before the lamps of `from`.
  void disturbed(Nanos from, Nanos to);
  void answered(const AnswerResult& answer);
  void found(const Finding& finding);  // the bench's own: lost evidence, faults
  void lost(std::uint64_t count);      // lamp changes known to be lost
  void pulses(std::uint64_t count);    // for the evidence
  // These channels may blink at another rate than they seem to: none of their
  // rows has numbers or passes. The watcher gives a finding beside it.
  void unsure_blinks(Channels channels);
  // The watcher's clock does not go with the run's, `why`, a clause: no row has numbers, passes or fails.
  void untimed(const std::string& why);
  // In place of what the setup says of the stamps, for the numbers of all changes; the last word counts.
  void stamps(const StampTimes& stamps);
  // Windows as decided so far, for a live display and for drawings; called
  // in time order with the expected set and, per seen span, what was seen.
  void on_reach(std::function<void(const Reach&)> sink);
  // Findings as they are made, for who watches live. The result has the last word: it may leave some
  // out, and has those that only the end tells.
  void on_finding(std::function<void(const Finding&)> sink);

  // `seen_until`: the watcher's word that nothing is missing before it.
  // `complete`: the scenario was played to its end.
  RunResult finish(Nanos seen_until, bool complete = true);

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tachproof

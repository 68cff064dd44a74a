// The judge of a unit that is pressed, or whose supply fails or changes, in the middle of a run.
//
// Between two such events the unit is as StateFollower says, and an ordinary Judge judges it
// against that gauge: its thresholds, cues and blinks are rows of their own for each state.
// Around an event, until the unit has had time to answer, both states may be seen. What the
// unit has made of the press is then read off twice: from the judge of the state that it
// must be in, and from a second one of the state that it would be in if it had done the
// other thing. Where the first fails and the second does not, that is what happened.
//
// Without an event it is the one Judge, and costs nothing more.
#pragma once

#include <functional>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/dim_light.h"
#include "core/judge/judge.h"
#include "core/judge/peaks.h"
#include "core/judge/power_watch.h"

namespace tachproof {

class StateJudge {
 public:
  StateJudge(const Gauge& gauge, const JudgeSetup& setup);
  ~StateJudge();
  StateJudge(StateJudge&&) noexcept;

  // As in Judge.
  void rpm(const Segment& segment);
  void lamps(std::span<const LampEvent> events);
  void seen_until(Nanos until);
  void disturbed(Nanos from, Nanos to);
  void answered(const AnswerResult& answer);
  void found(const Finding& finding);
  void lost(std::uint64_t count);
  void pulses(std::uint64_t count);
  void unsure_blinks(Channels channels);
  void untimed(const std::string& why);
  void stamps(const StampTimes& stamps);
  // How bright lamps were, from a watcher that sees light and no wires: in time order, before any lamp event
  // after them. Tells the steps of a dimming button.
  void lights(std::span<const SeenLight> lights);
  void on_reach(std::function<void(const Reach&)> sink);
  void on_finding(std::function<void(const Finding&)> sink);

  // Before the rpm that begins at `at`, and before any lamp event after it. The rpm is kept
  // for `lasts`. An action that is no button of the gauge is none of the judge's business.
  void pressed(const std::string& action, Nanos at, Nanos lasts);
  // The same where a person presses: asked at `at`, and done no later than `by`. The rpm is kept meanwhile.
  void pressing(const std::string& action, Nanos at);
  void released(Nanos by);
  // The source's `switch_from` and `switch_to` say how well its instants are known.
  void power_off(Nanos at, Nanos lasts);
  // What the unit is fed from then on. Where that is outside what its gauge allows, until it must be awake
  // again afterwards, it may be dark, but never wrong.
  void supplied(const Supply& supply, Nanos at);
  // The same where a person sets it: asked at `at`, and done no later than `by`. The rpm is kept meanwhile.
  void supplying(const Supply& supply, Nanos at);
  void supplied_by(Nanos by);
  // Before anything else: judged as a unit that takes the rpm of so long before a press. Not for presses by
  // a person.
  void takes_late(Nanos by);
  // The same where a person cuts it: he is asked to at `at`; when it was off and back is told later.
  void cutting(Nanos at);
  void cut(const PowerCut& cut);
  // The highest rpm that the unit must show when it is asked for it at `t`: see Peaks.
  std::vector<PeakSpan> peaks(Nanos t) const;

  RunResult finish(Nanos seen_until, bool complete = true);

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tachproof

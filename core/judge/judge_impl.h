// The judge's inside: shared by judge.cc, which judges as evidence comes, and
// judge_ending.cc, which turns what was seen into rows and a verdict.
#pragma once

#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include "core/judge/blink_meter.h"
#include "core/judge/blinks_apart.h"
#include "core/judge/boundary_rows.h"
#include "core/judge/boundary_sides.h"
#include "core/judge/crossings.h"
#include "core/judge/disturbances.h"
#include "core/judge/findings.h"
#include "core/judge/held_thresholds.h"
#include "core/judge/judge.h"
#include "core/judge/kept_visits.h"
#include "core/judge/lamps_ever.h"
#include "core/judge/pictures.h"
#include "core/judge/rpm_history.h"
#include "core/judge/verdicts.h"
#include "core/judge/window_reading.h"
#include "core/judge/wrong_cues.h"

namespace tachproof {

class Judge::Impl {
 public:
  Impl(const Gauge& gauge, const JudgeSetup& setup);

  // As in Judge.
  void rpm(const Segment& segment);
  void lamps(std::span<const LampEvent> events);
  void seen_until(Nanos until);
  void disturbed(Nanos from, Nanos to);
  void answered(const AnswerResult& answer);
  void found(const Finding& finding) { log_.add(finding); }
  void pulses(std::uint64_t count) { result_.evidence.pulses += count; }
  void lost(std::uint64_t count) { result_.evidence.lost += count; }
  void unsure_blinks(Channels channels) { unsure_blinks_ |= channels; }
  void stamps(const StampTimes& stamps) { result_.stamps = stamps; }
  void untimed(const std::string& why) {
    if (untimed_.empty()) untimed_ = why;
  }
  void on_finding(std::function<void(const Finding&)> sink) { log_.on_finding(std::move(sink)); }
  void on_reach(std::function<void(const Reach&)> sink) { reach_sink_ = std::move(sink); }
  RunResult finish(Nanos until, bool complete);

 private:
  void take_expectation();
  void advance();
  void advance_to(Nanos horizon);
  void at_instant(Nanos t);
  void look(Nanos t, bool demand_moved, bool lamps_moved, Channels before);
  std::size_t heading_for(Nanos t) const;
  void leave_blinks(Nanos t);
  void span_ended(Nanos t);
  void end_wrong(Nanos t, bool by_demand, bool reread);
  void take_crossings();
  void by_its_own_changes();
  void withdraw_numbers();
  void withdraw_thresholds(const std::string& why);
  void forget(Nanos now);
  void take_chatter();
  SeenTransition describe(const Crossing& crossing) const;
  void keep_visit(const SeenTransition& seen);
  Nanos wrong_side(const ExpectedTransition& due, Nanos changed_from, Nanos changed_at) const;
  Nanos slack() const;
  bool counts(const TransitionResult& row) const;
  bool beyond_neighbours(std::size_t boundary, Direction direction, Nanos at) const;
  BoundaryEvidence boundary_evidence(const ThresholdFits& fits) const;
  void say_disturbed();
  void say_left_out();
  bool boundary_open(std::size_t b) const { return lowest_ < b && b <= highest_; }
  void stuck_lamps();
  void say_unseen(bool dead);
  FitSetup fit_setup(const BenchUncertainty& bench) const;
  void make_rows(FindingLog& unit_log);
  void say_apart();
  void note_flicker();
  void note_lamps();
  void note_holds();
  void note_unwired_and_glitches();
  Verdict verdict();
  void last_words(Nanos until, bool complete);

  const Gauge gauge_;
  const JudgeSetup setup_;
  const Channels wired_;
  WindowReading reading_;
  Expectation expectation_;
  Pictures pictures_;
  BoundarySides sides_;
  WrongCues wrong_;
  Disturbances disturbances_;
  LampsEver ever_;
  RpmHistory history_;
  Crossings crossings_;
  FindingLog log_;
  RunResult result_;
  std::function<void(const Reach&)> reach_sink_;

  std::deque<Reach> reaches_;
  std::deque<ExpectedTransition> demands_;
  std::vector<LampEvent> masked_;
  Nanos expected_until_ = 0;
  Nanos lamps_from_ = 0;  // when the watcher began

  // The state at `now_`.
  Nanos now_ = 0;
  std::size_t lowest_ = 0, highest_ = 0, window_ = 0;
  bool demands_known_ = false, lamps_known_ = false, any_lamps_ = false;
  bool went_up_ = true;  // the last change of window
  Channels raw_ = 0, lit_ = 0;

  static constexpr std::size_t no_window = static_cast<std::size_t>(-1);
  std::size_t blinking_window_ = no_window;  // demanded and shown: its blink is measured
  std::vector<std::vector<BlinkMeter>> meters_;
  std::vector<Nanos> demanded_;
  Nanos judged_ = 0;         // time for which a demand and a picture were compared,
  Nanos disturbed_for_ = 0;  // and how much of it was disturbed
  bool clear_ = false;       // the lamps show some window's picture
  std::vector<SeenTransition> seen_;
  KeptVisits visits_;
  HeldThresholds held_;
  BlinksApart apart_;
  Channels unsure_blinks_ = 0;
  std::string untimed_;
};

}  // namespace tachproof

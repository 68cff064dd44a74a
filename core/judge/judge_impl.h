// The judge's inside: shared by judge.cc, which judges as evidence comes, and
// judge_ending.cc, which turns what was seen into rows and a verdict.
#pragma once

#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include "core/judge/blink_boundary.h"
#include "core/judge/blink_meter.h"
#include "core/judge/blinks_apart.h"
#include "core/judge/boundary_rows.h"
#include "core/judge/crossings.h"
#include "core/judge/dimming.h"
#include "core/judge/findings.h"
#include "core/judge/judge.h"
#include "core/judge/rpm_history.h"
#include "core/judge/settling.h"
#include "core/judge/threshold_bounds.h"
#include "core/judge/verdicts.h"
#include "core/judge/window_reading.h"

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
  void on_reach(std::function<void(const Reach&)> sink) { reach_sink_ = std::move(sink); }
  RunResult finish(Nanos until, bool complete);

 private:
  struct Violation {
    Nanos from = 0;
    Channels lit = 0;
    bool known = false;                   // a picture of some window
    bool from_demand = false;             // began when the demand moved, not the lamps
    std::size_t lowest = 0, highest = 0;  // the demand: once it is one window, that
    std::size_t window = 0;               // what it was read as
    double rpm = 0;
  };

  void take_expectation();
  void settle(Nanos until);
  void blend(Nanos until);
  void advance();
  void advance_to(Nanos horizon);
  void at_instant(Nanos t);
  void look(Nanos t, bool demand_moved, bool lamps_moved, Channels before);
  std::size_t heading_for(Nanos t) const;
  void leave_blinks(Nanos t);
  void span_ended(Nanos t);
  void end_violation(Nanos t, bool by_demand, bool reread);
  void take_crossings();
  void by_its_own_changes();
  void withdraw_numbers();
  void withdraw_thresholds(const std::string& why);
  void forget(Nanos now);
  void take_chatter();
  SeenTransition describe(const Crossing& crossing) const;
  void keep_visit(const SeenTransition& seen);
  bool is_disturbed(Nanos from, Nanos to) const;
  Nanos disturbed_until(Nanos t) const;
  Nanos disturbed_within(Nanos from, Nanos to) const;
  Nanos undisturbed(Nanos from, Nanos to) const { return to - from - disturbed_within(from, to); }
  Nanos wrong_side(const ExpectedTransition& due, Nanos changed_from, Nanos changed_at) const;
  Nanos slack() const;
  bool on_the_way(const Violation& violation) const;
  void see_sides(Nanos from, Nanos to);
  void see_change(std::size_t from_window, std::size_t to_window, Nanos at);
  bool saw_clearly(Nanos at) const;
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
  void note_unwired_and_glitches();
  Verdict verdict();
  void last_words(Nanos until, bool complete);

  const Gauge gauge_;
  const JudgeSetup setup_;
  const Channels wired_;
  WindowReading reading_;
  Expectation expectation_;
  DimmingFilter dimming_;
  Settling settling_;
  Blends blends_;
  RpmHistory history_;
  Crossings crossings_;
  FindingLog log_;
  RunResult result_;
  std::function<void(const Reach&)> reach_sink_;

  std::deque<Reach> reaches_;
  std::deque<ExpectedTransition> demands_;
  std::vector<LampEvent> masked_, undimmed_, settled_, shown_;
  std::size_t next_shown_ = 0;
  std::vector<std::pair<Nanos, Nanos>> disturbed_;
  Nanos disturbed_for_ = 0;  // of the time that was judged
  Nanos expected_until_ = 0, lamps_until_ = -1;
  Nanos lamps_from_ = 0;  // when the watcher began

  // The state at `now_`.
  Nanos now_ = 0;
  std::size_t lowest_ = 0, highest_ = 0, window_ = 0;
  bool demands_known_ = false, lamps_known_ = false, any_lamps_ = false;
  bool went_up_ = true;  // the last change of window
  Channels raw_ = 0, lit_ = 0;
  std::optional<Violation> violation_;

  static constexpr std::size_t no_window = static_cast<std::size_t>(-1);
  std::size_t blinking_window_ = no_window;  // demanded and shown: its blink is measured
  std::vector<std::vector<BlinkMeter>> meters_;
  std::vector<Nanos> demanded_;
  Channels ought_lit_ = 0, ought_dark_ = 0, was_lit_ = 0, was_dark_ = 0;
  Nanos judged_ = 0;  // time for which a demand and a picture were compared
  std::vector<std::pair<std::size_t, BlinkBoundary>> blink_boundaries_;  // by boundary
  std::vector<ThresholdBounds> bounds_;                                  // [boundary]
  bool clear_ = false;               // the lamps show some window's picture
  std::deque<Nanos> clear_changes_;  // from one window's picture to another's
  std::vector<SeenTransition> seen_;
  std::vector<Visit> visits_;
  std::vector<std::size_t> visit_count_;  // by boundary and direction
  BlinksApart apart_;
  Channels unsure_blinks_ = 0;
  std::string untimed_;
};

}  // namespace tachproof

// The inside of StateJudge: the stretches of its unit's life in order, and which of them the rpm and the
// lamps go to. What is done to the unit is in state_events.cc, what it made of that in state_followed.cc, the
// rest in state_judge.cc.
#pragma once

#include <algorithm>
#include <deque>
#include <functional>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "core/judge/power_watch.h"
#include "core/judge/press_rows.h"
#include "core/judge/rpm_history.h"
#include "core/judge/state_judge.h"
#include "core/judge/state_results.h"
#include "core/judge/unit_state.h"
#include "core/judge/unit_ways.h"

namespace tachproof {

class StateJudge::Impl {
 public:
  Impl(const Gauge& gauge, const JudgeSetup& setup);
  void rpm(const Segment& segment);
  void lamps(std::span<const LampEvent> events);
  void seen_until(Nanos until);
  void disturbed(Nanos from, Nanos to);

  // The first judge also has what speaks of the whole run, and ends last.
  void answered(const AnswerResult& answer) { first().answered(answer); }
  void found(const Finding& finding) { first().found(finding); }
  void lost(std::uint64_t count) { first().lost(count); }
  void pulses(std::uint64_t count) { first().pulses(count); }
  void unsure_blinks(Channels channels);
  void untimed(const std::string& why);
  void stamps(const StampTimes& stamps);
  void lights(std::span<const SeenLight> lights);
  void on_reach(std::function<void(const Reach&)> sink);
  void on_finding(std::function<void(const Finding&)> sink);
  void pressing(const std::string& action, Nanos at);
  void released(Nanos by);
  void power_off(Nanos at, Nanos lasts);
  void supplied(const Supply& supply, Nanos at, bool awaited);
  void supplied_by(Nanos by);
  void takes_late(Nanos by) { takes_late_ = by; }
  void cutting(Nanos at);
  void cut(const PowerCut& cut);
  std::vector<PeakSpan> peaks(Nanos t) const { return peaks_.at(t); }
  RunResult finish(Nanos until, bool complete);

 private:
  static constexpr Nanos never = StateSpell::never;
  // In less the judge would say, rightly, that too much of it was left out.
  static constexpr Nanos least_judged = 10 * StateSpell::warm_up;

  Judge& first() { return *spells_.front().ways.front().judge; }
  template <class Do>
  static void each_of(StateSpell& spell, Do what) {
    for (JudgedWay& way : spell.ways)
      if (way.judge) what(*way.judge);
  }
  template <class Do>
  void each(Do what) {
    for (StateSpell& spell : spells_) each_of(spell, what);
  }

  // In time order: of each state while it lasts.
  std::function<void(const Reach&)> sink_of(std::size_t spell);
  Gauge judged_gauge(const UnitState& state) const;
  std::vector<std::size_t> all_moved() const;
  void begin_spell(StateSpell spell, Nanos at);

  bool is_open(std::size_t spell) const { return spell == 0 || spells_[spell].judged_from != never; }

  // The lamps have come to this spell: what the unit did before it is known as well as it can be.
  void go_on();
  std::string doubt_outside(const std::string& what) const;
  static void happens(const StateSpell& spell, StateFollower& unit);

  // At this rpm the unit shows nothing.
  bool is_dark(const Gauge& gauge, double rpm) const;
  void open(StateSpell& spell);
  void begin_judge(JudgedWay& way, const StateSpell& spell) const;
  static void disturb(StateSpell& spell, Nanos from, Nanos to);

  // The lamps as they were when the unit had had time to answer.
  void begin_lamps(StateSpell& spell);

  // Channels that were lit for longer than a dimmed lamp is in one cycle.
  void note_lit(StateSpell& spell, const LampEvent& event);
  void see_in_gap(StateSpell& spell, const LampEvent& event);
  void end_spell();
  void finish_spell(StateSpell& spell, Nanos until, bool complete);

  // A unit of which nobody can say that it lost its supply is not judged until its next state.
  static void doubt_the_cut(StateSpell& spell, const std::string& why);
  // A unit that woke late is judged from when it was awake, where there is enough left.
  void wait_for(StateSpell& spell, Nanos end, bool complete);

  // Until it has answered it may be as it was, or as it is to be.
  void look_at_gap(StateSpell& spell, Nanos end);
  static std::string say_pressed(const std::string& button, Nanos at);

  // What the unit made of the event, by what was seen after it.
  void choose(StateSpell& spell, Nanos end, bool complete);

  // What ended elsewhere is judged by where it went: from memory, unless that is too much.
  static bool is_judged_again(const StateSpell& spell);
  void judge_again(const StateSpell& spell, JudgedWay& way, Nanos end, bool complete) const;

  Nanos recent() const { return 2 * ns_per_s + gauge_.tolerance.response_to + takes_late_; }
  // What the unit may have believed, as far as a press at `at` is concerned.
  RpmAtPress believed_at(Nanos at) const;

  // The supply: state_supply.cc.
  std::string level_name(double volts);
  void settle_supply(Nanos t);
  void close_supply(StateSpell& spell, Nanos due);
  void name_level(StateSpell& spell, double volts, Nanos awake_by);
  void look_at_supply(StateSpell& spell, Nanos end, bool complete);
  void find_drift(Nanos until, bool complete);

  bool keeps_peak() const;

  const Gauge gauge_;
  const JudgeSetup setup_;
  const Channels wired_;
  StateFollower follower_;
  RpmHistory history_;
  std::deque<StateSpell> spells_;
  std::size_t current_ = 0;  // the lamps are there
  Channels lit_ = 0;
  bool any_lamps_ = false, changed_ = false;
  std::deque<Segment> recent_;
  std::vector<std::pair<Nanos, Nanos>> disturbances_;  // in the order in which they came
  std::function<void(const Reach&)> sink_;
  std::function<void(const Finding&)> finding_sink_;
  Channels unsure_ = 0;
  std::string untimed_;
  std::optional<StampTimes> stamps_;
  Peaks peaks_;

  std::optional<double> volts_;  // that the unit is fed now, as far as anybody said
  Nanos takes_late_ = 0;
  bool outside_ = false;  // of what it may be fed
  std::map<std::string, int> levels_;
  std::optional<double> dark_at_v_;  // it went dark when it was fed this, and has stayed so
  bool told_dead_ = false;           // and that has been said
};

}  // namespace tachproof

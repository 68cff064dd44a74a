#include "core/judge/state_judge.h"

#include <algorithm>
#include <cmath>
#include <deque>
#include <limits>
#include <optional>
#include <utility>
#include <vector>

#include "core/base/text.h"
#include "core/judge/power_watch.h"
#include "core/judge/press_rows.h"
#include "core/judge/rpm_history.h"
#include "core/judge/state_results.h"
#include "core/judge/unit_state.h"

namespace tachproof {
namespace {

constexpr Nanos never = StateSpell::never;
constexpr Nanos longest_late = 30 * ns_per_s;

}  // namespace

class StateJudge::Impl {
 public:
  Impl(const Gauge& gauge, const JudgeSetup& setup)
      : gauge_(gauge),
        setup_(setup),
        wired_(setup.wired & gauge.all_channels()),
        follower_(gauge),
        history_(1.0) {
    StateSpell& first = spells_.emplace_back();
    first.ways.push_back({{follower_}, {}, {}});
    first.ways.front().judge.emplace(gauge, setup);
  }

  void rpm(const Segment& segment) {
    history_.add(segment);
    note_peak(segment.start.whole, segment.highest_rpm());
    StateSpell& now = spells_.back();
    if (is_open(spells_.size() - 1)) each_of(now, [&](Judge& judge) { judge.rpm(segment); });
    if (&now != &spells_.front() && (segment.start.whole < now.judged_from || is_judged_again(now)))
      now.segments.push_back(segment);
    recent_.push_back(segment);
    while (recent_.size() > 1 && recent_[1].start.whole < segment.start.whole - recent()) recent_.pop_front();
    history_.forget_before(segment.start.whole - recent());
  }

  void lamps(std::span<const LampEvent> events) {
    while (!events.empty()) {
      if (current_ + 1 < spells_.size() && events.front().at >= spells_[current_].to) {
        end_spell();
        continue;
      }
      StateSpell& spell = spells_[current_];
      const bool gap = events.front().at < spell.lamps_from();
      const Nanos until = gap ? std::min(spell.lamps_from(), spell.to) : spell.to;
      const auto last = std::find_if(events.begin(), events.end(),
                                     [&](const LampEvent& event) { return event.at >= until; });
      const std::span<const LampEvent> part(events.begin(), last);
      if (spell.gap && part.front().at < spell.judged_from) spell.gap->lamps(part);
      if (is_judged_again(spell)) spell.lamps.insert(spell.lamps.end(), part.begin(), part.end());
      for (const LampEvent& event : part) changed_ = changed_ || (any_lamps_ && event.lit != lit_);
      if (gap) {
        for (const LampEvent& event : part) see_in_gap(spell, event);
      } else {
        begin_lamps(spell);
        // A unit that wakes late is still watched.
        if (spell.power && part.front().at < spell.judged_from + longest_late)
          for (const LampEvent& event : part) spell.power->lamps(event);
        for (const LampEvent& event : part) note_lit(spell, event);
        each_of(spell, [&](Judge& judge) { judge.lamps(part); });
      }
      lit_ = part.back().lit;
      any_lamps_ = true;
      events = events.subspan(part.size());
    }
  }

  void seen_until(Nanos until) {
    while (current_ + 1 < spells_.size() && until >= spells_[current_].to) end_spell();
    StateSpell& spell = spells_[current_];
    if (until < spell.lamps_from()) return;
    begin_lamps(spell);
    each_of(spell, [&](Judge& judge) { judge.seen_until(until); });
  }

  void disturbed(Nanos from, Nanos to) {
    disturbances_.emplace_back(from, to);
    for (StateSpell& spell : spells_) disturb(spell, from, to);
  }

  // The first judge also has what speaks of the whole run, and ends last.
  void answered(const AnswerResult& answer) { first().answered(answer); }
  void found(const Finding& finding) { first().found(finding); }
  void lost(std::uint64_t count) { first().lost(count); }
  void pulses(std::uint64_t count) { first().pulses(count); }
  void unsure_blinks(Channels channels) {
    unsure_ |= channels;
    each([&](Judge& judge) { judge.unsure_blinks(channels); });
  }
  void untimed(const std::string& why) {
    if (untimed_.empty()) untimed_ = why;
    each([&](Judge& judge) { judge.untimed(why); });
  }
  void stamps(const StampTimes& stamps) {
    stamps_ = stamps;
    each([&](Judge& judge) { judge.stamps(stamps); });
  }
  void on_reach(std::function<void(const Reach&)> sink) {
    sink_ = std::move(sink);
    if (sink_) first().on_reach(sink_of(0));
  }

  void pressing(const std::string& action, Nanos at) {
    const Button* button = button_named(gauge_, action);
    if (button == nullptr) return;
    const double rpm = history_.rpm_at(at);
    const auto [lowest, highest] =
        history_.range_between(at - gauge_.tolerance.response_to - setup_.bench.source.lag, at);
    const RpmAtPress pressed_at{rpm, std::min(lowest, rpm), std::max(highest, rpm)};
    const StateFollower::Pressed what = follower_.press(action, at, pressed_at);
    if (what.clears_peak) peaks_.push_back({at, rpm, true});
    if (!what.takes && !what.dims) return;
    StateSpell spell;
    spell.what = what.takes ? StateSpell::What::take : StateSpell::What::dim;
    spell.rpm = pressed_at;
    if (what.takes) {
      spell.press.button = action;
      spell.press.at = at;
      spell.press.rpm = rpm;
      spell.press.must_refuse = what.refused.value_or(false);
      spell.moved = StateFollower::moved_by(gauge_, std::get<TakeRpm>(button->does));
    } else {
      spell.dim.button = action;
      spell.dim.at = at;
      spell.moved = all_moved();
    }
    begin_spell(std::move(spell), at);
  }

  void released(Nanos by) {
    StateSpell& now = spells_.back();
    if (now.from == 0 || now.answered != never) return;
    now.answered = answered_by(gauge_, by);
    if (current_ + 1 == spells_.size()) open(now);
  }

  void power_off(Nanos at, Nanos lasts) {
    const Nanos back = at + lasts;
    const Nanos awake = PowerWatch::awake_by(gauge_, back);
    follower_.power_lost(awake);
    if (!keeps_peak()) peaks_.push_back({at, 0, true});
    StateSpell spell;
    spell.what = StateSpell::What::power;
    spell.rpm.rpm = history_.rpm_at(at);
    spell.power.emplace(gauge_, wired_, at, back, setup_.bench.watcher.resolution);
    spell.moved = all_moved();
    spell.awake = awake;
    spell.answered = answered_by(gauge_, awake);
    begin_spell(std::move(spell), at);
  }

  double peak_rpm(Nanos t) const {
    double peak = 0;
    for (const Peak& one : peaks_)
      if (one.from < t) peak = one.cleared ? one.rpm : std::max(peak, one.rpm);
    return peak;
  }

  RunResult finish(Nanos until, bool complete) {
    while (current_ + 1 < spells_.size() && until >= spells_[current_].to) end_spell();
    StateSpell& last = spells_[current_];
    if (until >= last.lamps_from()) begin_lamps(last);
    spells_.back().to = until;
    finish_spell(last, until, complete);
    while (current_ + 1 < spells_.size()) {
      go_on();
      finish_spell(spells_[current_], until, complete);
    }
    finish_spell(spells_.front(), until, complete);
    return joined_results(gauge_, setup_, spells_, until, complete);
  }

 private:
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
  std::function<void(const Reach&)> sink_of(std::size_t spell) {
    return [this, spell](const Reach& reach) {
      if (current_ == spell && reach.from < spells_[spell].to) sink_(reach);
    };
  }

  Gauge judged_gauge(const UnitState& state) const {
    Gauge gauge = state.gauge;
    gauge.tolerance.rpm += state.doubt_rpm;
    gauge.buttons.clear();
    gauge.power_up.reset();
    return gauge;
  }

  std::vector<std::size_t> all_moved() const {
    std::vector<std::size_t> all;
    for (const Button& button : gauge_.buttons)
      if (const auto* take = std::get_if<TakeRpm>(&button.does))
        for (const std::size_t b : StateFollower::moved_by(gauge_, *take)) all.push_back(b);
    return all;
  }

  void begin_spell(StateSpell spell, Nanos at) {
    // A person who never said that he had pressed: nobody can say what the unit does since.
    released(at);
    spells_.back().to = at;
    spell.from = at;
    spell.judged_from = never;
    spell.before.assign(recent_.begin(), recent_.end());
    spells_.push_back(std::move(spell));
  }

  bool is_open(std::size_t spell) const { return spell == 0 || spells_[spell].judged_from != never; }

  // The lamps have come to this spell: what the unit did before it is known as well as it can be.
  void go_on() {
    const StateSpell& before = spells_[current_];
    const std::vector<UnitWay> ways = before.seen && before.way().result
                                          ? still_open(before.ways, before.chosen)
                                          : std::vector<UnitWay>(before.ways.begin(), before.ways.end());
    StateSpell& now = spells_[++current_];
    if (now.what != StateSpell::What::power)
      for (const UnitWay& way : ways) now.states_before.push_back(way.unit.now());
    now.lit_before = lit_;
    now.gap.emplace(gauge_, setup_);
    const LampEvent first{now.from, lit_};
    if (any_lamps_) now.gap->lamps({&first, 1});
    for (UnitWay& way : through_event(ways, current_, [&](StateFollower& unit) { happens(now, unit); }))
      now.ways.push_back({std::move(way), {}, {}});
    const UnitState& state = now.ways.front().unit.now();
    if (now.what == StateSpell::What::dim)
      now.dim.set_level = std::get<Dim>(button_named(gauge_, now.dim.button)->does).levels[state.level];
    now.dark_cue = is_dark(state.gauge, now.rpm.rpm);
    if (now.answered != never) open(now);
  }

  static void happens(const StateSpell& spell, StateFollower& unit) {
    if (spell.what == StateSpell::What::power)
      unit.power_lost(spell.awake);
    else
      unit.press(spell.what == StateSpell::What::take ? spell.press.button : spell.dim.button, spell.from,
                 spell.rpm);
  }

  // At this rpm the unit shows nothing.
  bool is_dark(const Gauge& gauge, double rpm) const {
    std::size_t window = 0;
    while (window + 1 < gauge.windows.size() && rpm >= gauge.rising_rpm(window + 1) + gauge.tolerance.rpm)
      ++window;
    const Cue& cue = gauge.windows[window].cue;
    return ((cue.steady | cue.blinking) & wired_) == 0;
  }

  void open(StateSpell& spell) {
    Nanos answered = spell.answered;
    for (const auto& [from, to] : disturbances_)
      if (from <= answered) answered = std::max(answered, to);
    spell.judged_from = answered + StateSpell::warm_up;
    for (JudgedWay& way : spell.ways)
      if (way.unit.now().unknown.empty()) begin_judge(way, spell);
    for (const auto& [from, to] : disturbances_) disturb(spell, from, to);
    if (sink_ && spell.ways.front().judge) spell.ways.front().judge->on_reach(sink_of(current_));
  }

  void begin_judge(JudgedWay& way, const StateSpell& spell) const {
    JudgeSetup setup = setup_;
    setup.before = ExpectationOptions::Before::unknown;
    Judge& judge = way.judge.emplace(judged_gauge(way.unit.now()), setup);
    judge.disturbed(spell.from, spell.judged_from);
    for (const Segment& segment : spell.segments) judge.rpm(segment);
    if (unsure_ != 0) judge.unsure_blinks(unsure_);
    if (!untimed_.empty()) judge.untimed(untimed_);
    if (stamps_) judge.stamps(*stamps_);
  }

  static void disturb(StateSpell& spell, Nanos from, Nanos to) {
    if (to <= spell.judged_from || from >= spell.to) return;
    each_of(spell, [&](Judge& judge) { judge.disturbed(std::max(from, spell.judged_from), to); });
  }

  // The lamps as they were when the unit had had time to answer.
  void begin_lamps(StateSpell& spell) {
    if (spell.lamps_begun || current_ == 0 || !any_lamps_) return;
    spell.lamps_begun = true;
    const LampEvent first{spell.lamps_from(), lit_};
    note_lit(spell, first);
    each_of(spell, [&](Judge& judge) { judge.lamps({&first, 1}); });
  }

  // Channels that were lit for longer than a dimmed lamp is in one cycle.
  void note_lit(StateSpell& spell, const LampEvent& event) {
    constexpr Nanos longer = 60 * ns_per_ms;
    for (std::size_t c = 0; c < gauge_.channels(); ++c) {
      const Channels bit = Channels{1} << c & wired_;
      if ((spell.lit_now & bit) != 0 && event.at - spell.lit_since[c] >= longer) spell.lit_long |= bit;
      if ((event.lit & bit) != 0 && (spell.lit_now & bit) == 0) spell.lit_since[c] = event.at;
    }
    spell.lit_now = event.lit & wired_;
  }

  void see_in_gap(StateSpell& spell, const LampEvent& event) {
    if (spell.power) {
      if (!spell.gap_begun) spell.power->lamps({spell.from, lit_});
      spell.power->lamps(event);
    }
    spell.gap_begun = true;
    if (spell.what == StateSpell::What::take && std::isnan(spell.press.reaction_ms) && event.lit != lit_)
      spell.press.reaction_ms = to_ms(event.at - spell.from);
  }

  void end_spell() {
    StateSpell& spell = spells_[current_];
    if (spell.to >= spell.lamps_from()) begin_lamps(spell);
    each_of(spell, [&](Judge& judge) { judge.seen_until(spell.to); });
    if (current_ > 0) finish_spell(spell, spell.to, true);
    go_on();
  }

  void finish_spell(StateSpell& spell, Nanos until, bool complete) {
    if (spell.ended) return;
    spell.ended = true;
    const Nanos end = std::max(std::min(spell.to, until), spell.from);
    note_lit(spell, {end, spell.lit_now});
    // In less the judge would say, rightly, that too much of it was left out.
    constexpr Nanos least = 10 * StateSpell::warm_up;
    spell.seen =
        &spell == &spells_.front() || (spell.judged_from != never && end >= spell.judged_from + least);
    for (JudgedWay& way : spell.ways)
      if (way.judge) {
        way.result = way.judge->finish(end, complete);
        way.judge.reset();
      }
    if (spell.power) {
      spell.woke = spell.power->finish(end, spell.dark_cue, spell.power_findings);
      wait_for(spell, end, complete);
    }
    if (spell.seen && spell.way().result) choose(spell, end, complete);
    if (spell.gap && changed_ && setup_.what.steady) look_at_gap(spell, end);
    spell.gap.reset();
    spell.segments.clear();
    spell.lamps.clear();
  }

  // A unit that woke late is judged from when it was awake, where there is enough left.
  void wait_for(StateSpell& spell, Nanos end, bool complete) {
    if (std::isnan(spell.woke.boot_ms) || !spell.seen || !is_judged_again(spell)) return;
    const Nanos woke = spell.woke.back_at + from_seconds(1e-3 * spell.woke.boot_ms);
    // Its longest boot, had it been in time: what was left for the greeting and the answer.
    const Nanos late = gauge_.power_up ? woke - (spell.woke.back_at + gauge_.power_up->boot_to) : 0;
    if (late <= 0) return;
    spell.judged_from += late;
    constexpr Nanos least = 10 * StateSpell::warm_up;
    spell.seen = end >= spell.judged_from + least;
    for (JudgedWay& way : spell.ways)
      if (way.result) judge_again(spell, way, end, complete);
  }

  // Until it has answered it may be as it was, or as it is to be.
  void look_at_gap(StateSpell& spell, Nanos end) {
    GapWatch::Gap gap;
    gap.from = spell.from;
    gap.to = std::min(end, spell.judged_from);
    gap.states = spell.states_before;
    for (const JudgedWay& way : spell.ways) gap.states.push_back(way.unit.now());
    spell.before.insert(spell.before.end(), spell.segments.begin(), spell.segments.end());
    gap.rpm = &spell.before;
    Disturbances disturbed;
    for (const auto& [from, to] : disturbances_) disturbed.add(from, to);
    gap.disturbed = &disturbed;
    switch (spell.what) {
      case StateSpell::What::start: return;
      case StateSpell::What::take: gap.since = say_pressed(spell.press.button, spell.from); break;
      case StateSpell::What::dim: gap.since = say_pressed(spell.dim.button, spell.from); break;
      case StateSpell::What::power:
        // Until it has greeted, PowerWatch looks.
        if (spell.woke.verdict != Verdict::pass || std::isnan(spell.woke.boot_ms)) return;
        gap.from = spell.woke.back_at +
                   from_seconds(1e-3 * (spell.woke.boot_ms +
                                        (std::isnan(spell.woke.greeted_ms) ? 0 : spell.woke.greeted_ms)));
        gap.from_below = true;
        gap.since = "after the supply was back at " + say_time(spell.woke.back_at);
        break;
    }
    spell.strange = spell.gap->strange(gap);
    spell.before.clear();
  }

  static std::string say_pressed(const std::string& button, Nanos at) {
    return "after '" + button + "' was pressed at " + say_time(at);
  }

  // What the unit made of the event, by what was seen after it.
  void choose(StateSpell& spell, Nanos end, bool complete) {
    spell.chosen = likeliest(spell.ways, spell.moved);
    JudgedWay& way = spell.way();
    if (spell.what == StateSpell::What::take && spell.chosen == 0 && !spell.press.must_refuse) {
      spell.done = done_elsewhere(*way.result, way.unit.now().gauge, spell.moved, spell.press.rpm);
      if (!spell.done) return;
      way.unit.took(spell.done->rpm, spell.done->expanded_uncertainty_rpm);
      if (is_judged_again(spell)) judge_again(spell, way, end, complete);
    } else if (spell.what == StateSpell::What::power) {
      spell.done = done_elsewhere(*way.result, way.unit.now().gauge, spell.moved, 0);
      if (!spell.done) return;
      way.unit.came_back_off(spell.done->rpm, spell.done->expanded_uncertainty_rpm);
      if (is_judged_again(spell)) judge_again(spell, way, end, complete);
    } else if (spell.what == StateSpell::What::dim) {
      DimResult row = spell.dim;
      std::vector<Finding> findings;
      judge_dim(gauge_, *way.result, spell.lit_long, true, setup_.bench.watcher.resolution, row, findings);
      const Dim& dim = std::get<Dim>(button_named(gauge_, row.button)->does);
      if (const auto level = level_shown(dim, row)) way.unit.dimmed_to(*level);
    }
  }

  // What ended elsewhere is judged by where it went: from memory, unless that is too much.
  static bool is_judged_again(const StateSpell& spell) {
    constexpr std::size_t most = 1'000'000;
    return (spell.what == StateSpell::What::take || spell.what == StateSpell::What::power) &&
           spell.lamps.size() < most && spell.segments.size() < most;
  }

  void judge_again(const StateSpell& spell, JudgedWay& way, Nanos end, bool complete) const {
    begin_judge(way, spell);
    for (const auto& [from, to] : disturbances_)
      if (to > spell.judged_from && from < spell.to)
        way.judge->disturbed(std::max(from, spell.judged_from), to);
    LampEvent first{spell.lamps_from(), 0};
    std::size_t begin = 0;
    for (; begin < spell.lamps.size() && spell.lamps[begin].at < spell.lamps_from(); ++begin)
      first.lit = spell.lamps[begin].lit;
    if (begin == 0) first.lit = spell.lit_before;
    way.judge->lamps({&first, 1});
    way.judge->lamps(std::span(spell.lamps).subspan(begin));
    way.result = way.judge->finish(end, complete);
    way.judge.reset();
  }

  Nanos recent() const { return 2 * ns_per_s + gauge_.tolerance.response_to; }

  bool keeps_peak() const {
    return gauge_.power_up &&
           std::any_of(gauge_.buttons.begin(), gauge_.buttons.end(), [&](const Button& button) {
             return std::holds_alternative<ShowPeak>(button.does) && keeps(*gauge_.power_up, button.name);
           });
  }

  void note_peak(Nanos from, double rpm) {
    if (peaks_.empty() || rpm > peaks_.back().rpm) peaks_.push_back({from, rpm, false});
  }

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
  Channels unsure_ = 0;
  std::string untimed_;
  std::optional<StampTimes> stamps_;
  // From then on at least this was reached; rising from where it was cleared.
  struct Peak {
    Nanos from = 0;
    double rpm = 0;
    bool cleared = false;
  };
  std::vector<Peak> peaks_;
};

StateJudge::StateJudge(const Gauge& gauge, const JudgeSetup& setup)
    : impl_(std::make_unique<Impl>(gauge, setup)) {}
StateJudge::~StateJudge() = default;
StateJudge::StateJudge(StateJudge&&) noexcept = default;
void StateJudge::rpm(const Segment& segment) { impl_->rpm(segment); }
void StateJudge::lamps(std::span<const LampEvent> events) { impl_->lamps(events); }
void StateJudge::seen_until(Nanos until) { impl_->seen_until(until); }
void StateJudge::disturbed(Nanos from, Nanos to) { impl_->disturbed(from, to); }
void StateJudge::answered(const AnswerResult& answer) { impl_->answered(answer); }
void StateJudge::found(const Finding& finding) { impl_->found(finding); }
void StateJudge::lost(std::uint64_t count) { impl_->lost(count); }
void StateJudge::pulses(std::uint64_t count) { impl_->pulses(count); }
void StateJudge::unsure_blinks(Channels channels) { impl_->unsure_blinks(channels); }
void StateJudge::untimed(const std::string& why) { impl_->untimed(why); }
void StateJudge::stamps(const StampTimes& stamps) { impl_->stamps(stamps); }
void StateJudge::on_reach(std::function<void(const Reach&)> sink) { impl_->on_reach(std::move(sink)); }
void StateJudge::pressed(const std::string& action, Nanos at, Nanos lasts) {
  impl_->pressing(action, at);
  impl_->released(at + lasts);
}
void StateJudge::pressing(const std::string& action, Nanos at) { impl_->pressing(action, at); }
void StateJudge::released(Nanos by) { impl_->released(by); }
void StateJudge::power_off(Nanos at, Nanos lasts) { impl_->power_off(at, lasts); }
double StateJudge::peak_rpm(Nanos t) const { return impl_->peak_rpm(t); }
RunResult StateJudge::finish(Nanos until, bool complete) { return impl_->finish(until, complete); }

}  // namespace tachproof

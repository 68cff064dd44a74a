// What the unit made of an event, and how it is followed from there.
#include <cmath>

#include "core/base/text.h"
#include "core/judge/state_judge_impl.h"

namespace tachproof {

void StateJudge::Impl::go_on() {
  const StateSpell& before = spells_[current_];
  const std::vector<UnitWay> ways = before.seen && before.way().result
                                        ? still_open(before.ways, before.chosen)
                                        : std::vector<UnitWay>(before.ways.begin(), before.ways.end());
  StateSpell& now = spells_[++current_];
  if (now.what != StateSpell::What::power)
    for (const UnitWay& way : ways) now.states_before.push_back(way.unit.now());
  now.lit_before = lit_;
  if (now.power) now.power->begins_lit(lit_);
  now.gap.emplace(gauge_, setup_);
  const LampEvent first{now.from, lit_};
  if (any_lamps_) now.gap->lamps({&first, 1});
  if (any_lamps_ && now.fed) now.fed->lamps({&first, 1});
  for (UnitWay& way : through_event(ways, current_, [&](StateFollower& unit) { happens(now, unit); }))
    now.ways.push_back({std::move(way), {}, {}});
  const UnitState& state = now.ways.front().unit.now();
  if (now.what == StateSpell::What::dim)
    now.dim.set_level = std::get<Dim>(button_named(gauge_, now.dim.button)->does).levels[state.level];
  now.dark_cue = is_dark(state.gauge, now.rpm.rpm);
  if (now.answered != never) open(now);
}

void StateJudge::Impl::open(StateSpell& spell) {
  Nanos answered = spell.answered;
  for (const auto& [from, to] : disturbances_)
    if (from <= answered) answered = std::max(answered, to);
  spell.judged_from = answered + StateSpell::warm_up;
  for (JudgedWay& way : spell.ways)
    if (way.unit.now().unknown.empty()) begin_judge(way, spell);
  for (const auto& [from, to] : disturbances_) disturb(spell, from, to);
  if (sink_ && spell.ways.front().judge) spell.ways.front().judge->on_reach(sink_of(current_));
  if (finding_sink_ && spell.ways.front().judge) spell.ways.front().judge->on_finding(finding_sink_);
}

void StateJudge::Impl::begin_judge(JudgedWay& way, const StateSpell& spell) const {
  JudgeSetup setup = setup_;
  setup.before = ExpectationOptions::Before::unknown;
  setup.lamps_live = changed_;
  Judge& judge = way.judge.emplace(judged_gauge(way.unit.now()), setup);
  judge.disturbed(spell.from, spell.judged_from);
  for (const Segment& segment : spell.segments) judge.rpm(segment);
  if (unsure_ != 0) judge.unsure_blinks(unsure_);
  if (!untimed_.empty()) judge.untimed(untimed_);
  if (stamps_) judge.stamps(*stamps_);
}

void StateJudge::Impl::doubt_the_cut(StateSpell& spell, const std::string& why) {
  if (why.empty()) return;
  spell.cut_doubted = true;
  spell.seen = false;
  for (JudgedWay& way : spell.ways) {
    way.result.reset();
    way.unit.is_unknown(why);
  }
}

void StateJudge::Impl::wait_for(StateSpell& spell, Nanos end, bool complete) {
  if (std::isnan(spell.woke.boot_ms) || !spell.seen || !is_judged_again(spell)) return;
  const Nanos woke = spell.woke.back_at + from_seconds(1e-3 * spell.woke.boot_ms);
  // Its longest boot, had it been in time: what was left for the greeting and the answer.
  const Nanos late = gauge_.power_up ? woke - (spell.woke.back_at + gauge_.power_up->boot_to) : 0;
  if (late <= 0) return;
  spell.judged_from += late;
  spell.seen = end >= spell.judged_from + least_judged;
  for (JudgedWay& way : spell.ways)
    if (way.result) judge_again(spell, way, end, complete);
}

void StateJudge::Impl::look_at_gap(StateSpell& spell, Nanos end) {
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
    case StateSpell::What::start:
    case StateSpell::What::supply: return;  // SupplyWatch looks
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

std::string StateJudge::Impl::say_pressed(const std::string& button, Nanos at) {
  return "after '" + button + "' was pressed at " + say_time(at);
}

void StateJudge::Impl::choose(StateSpell& spell, Nanos end, bool complete) {
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
    judge_step(gauge_, setup_, spells_, current_, true, row, findings);
    const Dim& dim = std::get<Dim>(button_named(gauge_, row.button)->does);
    if (const auto level = level_shown(dim, row)) way.unit.dimmed_to(*level);
  }
}

bool StateJudge::Impl::is_judged_again(const StateSpell& spell) {
  constexpr std::size_t most = 1'000'000;
  return (spell.what == StateSpell::What::take || spell.what == StateSpell::What::power ||
          spell.what == StateSpell::What::supply) &&
         spell.lamps.size() < most && spell.segments.size() < most;
}

void StateJudge::Impl::judge_again(const StateSpell& spell, JudgedWay& way, Nanos end, bool complete) const {
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

}  // namespace tachproof

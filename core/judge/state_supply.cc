// A unit that is fed otherwise in the middle of a run: a judge for each voltage, and what its boundaries do
// from one to the other.
#include <algorithm>
#include <cmath>

#include "core/base/text.h"
#include "core/judge/press_rows.h"
#include "core/judge/state_judge_impl.h"

namespace tachproof {
namespace {

constexpr const char* unsaid =
    "the gauge file does not say what the unit may be fed: add `supply: {from: ..., to: ...}` to it";

std::string higher_text(double rpm) {
  return decimal(std::abs(rpm), 1) + " rpm " + (rpm > 0 ? "higher" : "lower");
}

}  // namespace

std::string StateJudge::Impl::level_name(double volts) {
  const std::string text = "at " + volts_text(volts);
  const int times = ++levels_[text];
  return times == 1 ? text : text + ", time " + std::to_string(times);
}

void StateJudge::Impl::supplied(const Supply& supply, Nanos at, bool awaited) {
  const bool same = volts_ && *volts_ == supply.from_v && supply.from_v == supply.to_v;
  SupplyMove move = supply_move(supply, at, gauge_.supply);
  move.awaited = awaited;
  move.late = awaited ? 0 : setup_.bench.source.switch_to;
  move.early = awaited ? 0 : std::max<Nanos>(-setup_.bench.source.switch_from, 0);
  volts_ = supply.to_v;
  outside_ = move.ends_outside;
  settle_supply(at);
  StateSpell& now = spells_.back();
  const bool dips_already = now.fed && now.answered == never && now.fed->dips();
  if (const auto outside = move.may_be_outside_from(); outside && !dips_already && !keeps_peak())
    peaks_.lost(*outside, never, false);
  // What comes before the unit had to be awake again is a part of the same dip.
  if (now.fed && now.answered == never) return now.fed->moves(move);
  if (same) return;
  if (!awaited && history_.empty() && spells_.size() == 1 && !move.outside_from &&
      supply.from_v == supply.to_v)
    return name_level(now, supply.to_v, 0);
  StateSpell spell;
  spell.what = StateSpell::What::supply;
  spell.rpm.rpm = history_.rpm_at(at);
  spell.fed.emplace(gauge_, setup_, move);
  spell.moved = all_moved();
  if (!gauge_.supply) spell.doubt = unsaid;
  happens(spell, follower_);
  begin_spell(std::move(spell), at);
  settle_supply(at);
}

void StateJudge::Impl::supplied_by(Nanos by) {
  StateSpell& now = spells_.back();
  if (!now.fed || now.answered != never) return;
  now.fed->done_by(by);
  settle_supply(by);
}

// The voltage that was set, where the unit has come through what was before it.
void StateJudge::Impl::settle_supply(Nanos t) {
  StateSpell& now = spells_.back();
  if (!now.fed || now.answered != never || !now.fed->is_back()) return;
  if (now.fed->dips() && t < now.fed->due()) return;
  close_supply(now, now.fed->due());
}

void StateJudge::Impl::close_supply(StateSpell& spell, Nanos due) {
  if (spell.fed->dips() && !keeps_peak()) peaks_.lost_by(due);
  spell.answered = answered_by(gauge_, due);
  name_level(spell, spell.fed->volts(), spell.fed->dips() ? due : 0);
  if (current_ + 1 == spells_.size()) open(spell);
}

void StateJudge::Impl::name_level(StateSpell& spell, double volts, Nanos awake_by) {
  spell.fed_v = volts;
  spell.level = level_name(volts);
  spell.awake = awake_by;
  follower_.fed_now(spell.level, awake_by);
  for (JudgedWay& way : spell.ways) way.unit.fed_now(spell.level, awake_by);
}

void StateJudge::Impl::look_at_supply(StateSpell& spell, Nanos end, bool complete) {
  SupplyWatch::Look look;
  look.from = spell.from;
  look.judged_from = std::min(end, spell.judged_from);
  look.until = end;
  look.states = spell.states_before;
  look.must_be = look.states.size();
  for (const JudgedWay& way : spell.ways) look.states.push_back(way.unit.now());
  std::vector<Segment> rpm = spell.before;
  rpm.insert(rpm.end(), spell.segments.begin(), spell.segments.end());
  look.rpm = &rpm;
  Disturbances disturbed;
  for (const auto& [from, to] : disturbances_) disturbed.add(from, to);
  look.disturbed = &disturbed;
  look.was_alive = changed_;
  look.dark_at_v = dark_at_v_;
  look.told_dead = told_dead_;
  const SupplyWatch::Told told = spell.fed->finish(look);
  spell.supply_rows = told.rows;
  spell.power_findings = told.findings;
  for (const Finding& finding : told.findings) told_dead_ |= finding.kind == FindingKind::no_return;
  if (spell.fed->is_awaited())
    spell.power_findings.push_back({FindingKind::lost_evidence, spell.from, "", "",
                                    "nobody says that the unit was fed " + volts_text(spell.fed->volts()) +
                                        ", asked for at " + say_time(spell.from) +
                                        ": set it, then press Enter"});
  if (told.dark) {
    // Nothing can be measured of it; that it is dark has been said.
    if (told.dark_at_v) spell.seen = false;
    for (JudgedWay& way : spell.ways)
      if (told.dark_at_v) way.result.reset();
  }
  dark_at_v_ = told.dark || told.still_dark ? told.dark_at_v : std::nullopt;
  told_dead_ = told_dead_ && dark_at_v_;
  if (!told.woke_late || !spell.seen || !is_judged_again(spell)) return;
  const bool greets = gauge_.power_up && gauge_.power_up->greets;
  const Nanos greeted = greets ? gauge_.power_up->greets->lasts * 11 / 10 + 50 * ns_per_ms : 0;
  const Nanos from = answered_by(gauge_, *told.woke_late + greeted) + StateSpell::warm_up;
  if (from <= spell.judged_from) return;
  spell.judged_from = from;
  spell.seen = end >= from + least_judged;
  for (JudgedWay& way : spell.ways)
    if (way.result) judge_again(spell, way, end, complete);
}

// Where all boundaries of a voltage are off by as much, and those of another by something else, that is one
// finding in place of all that follows from it. The rows stay as they are: off.
void StateJudge::Impl::find_drift(Nanos until, bool complete) {
  struct Level {
    StateSpell* spell;
    Shift shift;
  };
  std::vector<Level> levels;
  for (StateSpell& spell : spells_) {
    if (std::isnan(spell.fed_v) || !spell.seen || !spell.way().result) continue;
    if (const Shift shift = shift_of_all(*spell.way().result, gauge_); shift.rows > 0 && shift.agree)
      levels.push_back({&spell, shift});
  }
  for (const Level& level : levels) {
    StateSpell& spell = *level.spell;
    RunResult& result = *spell.way().result;
    if (!unit_fails(result) || spell.what != StateSpell::What::supply || !is_judged_again(spell)) continue;
    const Level* other = nullptr;
    for (const Level& one : levels) {
      const double apart = std::abs(one.shift.rpm - level.shift.rpm);
      if (one.spell->fed_v == spell.fed_v ||
          apart <= one.shift.expanded_uncertainty + level.shift.expanded_uncertainty + 1)
        continue;
      if (other == nullptr || apart > std::abs(other->shift.rpm - level.shift.rpm)) other = &one;
    }
    if (other == nullptr) continue;
    JudgedWay off{static_cast<const UnitWay&>(spell.way()), {}, {}};
    off.unit.drifted(level.shift.rpm, level.shift.expanded_uncertainty);
    judge_again(spell, off, std::max(std::min(spell.to, until), spell.from), complete);
    result.findings = std::move(off.result->findings);
    result.findings_left_out = off.result->findings_left_out;
    result.findings.push_back({FindingKind::supply_drift, spell.judged_from, "", "",
                               "the unit's boundaries are " + higher_text(level.shift.rpm) +
                                   " than set, U = " + decimal(level.shift.expanded_uncertainty, 1) +
                                   " rpm; at " + volts_text(other->spell->fed_v) + " they are " +
                                   higher_text(other->shift.rpm) + ": they move with the supply"});
  }
}

}  // namespace tachproof

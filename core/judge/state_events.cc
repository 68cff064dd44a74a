// What is done to the unit: presses, losses of power.
#include <cmath>

#include "core/base/text.h"

#include "core/judge/state_judge_impl.h"

namespace tachproof {

RpmAtPress StateJudge::Impl::believed_at(Nanos at) const {
  // What was believed then was read a moment before, or after, the instant that is meant.
  constexpr Nanos stale = 15 * ns_per_ms;
  const Nanos then = at - takes_late_;
  const double rpm = history_.rpm_at(then);
  const Nanos before = takes_late_ > 0 ? stale : gauge_.tolerance.response_to;
  const auto [lowest, highest] =
      history_.range_between(then - before - setup_.bench.source.lag, takes_late_ > 0 ? then + stale : then);
  return {rpm, std::min(lowest, rpm), std::max(highest, rpm)};
}

void StateJudge::Impl::pressing(const std::string& action, Nanos at) {
  const Button* button = button_named(gauge_, action);
  if (button == nullptr) return;
  const RpmAtPress pressed_at = believed_at(at);
  const double rpm = pressed_at.rpm;
  const StateFollower::Pressed what = follower_.press(action, at, pressed_at);
  if (what.clears_peak) peaks_.cleared(at, rpm);
  if (!what.takes && !what.dims) return;
  StateSpell spell;
  if (outside_) spell.doubt = doubt_outside("'" + action + "' was pressed at " + say_time(at));
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

void StateJudge::Impl::released(Nanos by) {
  StateSpell& now = spells_.back();
  if (now.from == 0 || now.answered != never || now.what == StateSpell::What::power) return;
  now.answered = answered_by(gauge_, by);
  if (current_ + 1 == spells_.size()) open(now);
}

void StateJudge::Impl::power_off(Nanos at, Nanos lasts) {
  const Nanos from = setup_.bench.source.switch_from, to = setup_.bench.source.switch_to;
  const Nanos back = at + lasts;
  cutting(at);
  cut({std::max(at, at + from), at + to, back + from, back + to});
}

void StateJudge::Impl::cutting(Nanos at) {
  follower_.power_lost(never);
  // A file that does not say what is kept leaves that free.
  if (!keeps_peak()) peaks_.lost(at, never, gauge_.power_up.has_value());
  StateSpell spell;
  spell.what = StateSpell::What::power;
  if (outside_) spell.doubt = doubt_outside("the supply was cut at " + say_time(at));
  spell.rpm.rpm = history_.rpm_at(at);
  spell.power.emplace(gauge_, wired_, at, setup_.bench.watcher.resolution);
  spell.moved = all_moved();
  spell.awake = never;
  begin_spell(std::move(spell), at);
}

void StateJudge::Impl::cut(const PowerCut& cut) {
  StateSpell& now = spells_.back();
  if (now.what != StateSpell::What::power || now.answered != never) return;
  now.power->cut(cut);
  now.awake = PowerWatch::awake_by(gauge_, cut.on_to);
  if (!keeps_peak()) peaks_.lost_by(now.awake);
  follower_.awake_by(now.awake);
  for (JudgedWay& way : now.ways) way.unit.awake_by(now.awake);
  now.answered = answered_by(gauge_, now.awake);
  if (current_ + 1 == spells_.size()) open(now);
}

std::vector<std::size_t> StateJudge::Impl::all_moved() const {
  std::vector<std::size_t> all;
  for (const Button& button : gauge_.buttons)
    if (const auto* take = std::get_if<TakeRpm>(&button.does))
      for (const std::size_t b : StateFollower::moved_by(gauge_, *take)) all.push_back(b);
  return all;
}

void StateJudge::Impl::happens(const StateSpell& spell, StateFollower& unit) {
  if (spell.what == StateSpell::What::power) {
    unit.power_lost(spell.awake);
  } else if (spell.what == StateSpell::What::supply) {
    unit.fed(spell.fed->dips());
    if (!spell.level.empty()) unit.fed_now(spell.level, spell.awake);
  } else {
    unit.press(spell.what == StateSpell::What::take ? spell.press.button : spell.dim.button, spell.from,
               spell.rpm);
  }
  if (!spell.doubt.empty()) unit.is_unknown(spell.doubt);
}

// Of what was done to a unit that is fed what it need not work with.
std::string StateJudge::Impl::doubt_outside(const std::string& what) const {
  return what + ", when the unit was fed " + volts_text(*volts_) +
         ", outside what it may be fed: do that at a voltage inside";
}

bool StateJudge::Impl::is_dark(const Gauge& gauge, double rpm) const {
  std::size_t window = 0;
  while (window + 1 < gauge.windows.size() && rpm >= gauge.rising_rpm(window + 1) + gauge.tolerance.rpm)
    ++window;
  const Cue& cue = gauge.windows[window].cue;
  return ((cue.steady | cue.blinking) & wired_) == 0;
}

bool StateJudge::Impl::keeps_peak() const {
  return gauge_.power_up &&
         std::any_of(gauge_.buttons.begin(), gauge_.buttons.end(), [&](const Button& button) {
           return std::holds_alternative<ShowPeak>(button.does) && keeps(*gauge_.power_up, button.name);
         });
}

}  // namespace tachproof

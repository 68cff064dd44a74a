#include "core/judge/unit_state.h"

#include <algorithm>
#include <cmath>

#include "core/base/text.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

std::string rpm_text(double rpm) { return number_text(std::round(rpm * 10) / 10) + " rpm"; }

}  // namespace

Nanos answered_by(const Gauge& gauge, Nanos released) {
  constexpr Nanos to_act = 50 * ns_per_ms;  // a unit may look at its buttons now and then
  return released + to_act + gauge.tolerance.response_to + gauge.tolerance.settle;
}

StateFollower::StateFollower(const Gauge& gauge) : set_(gauge), now_{gauge, "", 0, 0, ""} {}

std::vector<std::size_t> StateFollower::moved_by(const Gauge& gauge, const TakeRpm& take) {
  std::vector<std::size_t> all;
  const std::string& anchor = gauge.windows.at(take.boundary).anchor;
  for (std::size_t b = 1; b < gauge.windows.size(); ++b)
    if (gauge.windows[b].anchor == anchor) all.push_back(b);
  return all;
}

StateFollower::Pressed StateFollower::press(const std::string& name, Nanos at, const RpmAtPress& rpm) {
  otherwise_.reset();
  const Button* button = button_named(set_, name);
  if (button == nullptr) return {};
  if (const auto* taking = std::get_if<TakeRpm>(&button->does)) return take(*button, *taking, rpm);
  Pressed pressed;
  if (const auto* dim = std::get_if<Dim>(&button->does)) {
    now_.level = (now_.level + 1) % dim->levels.size();
    // A unit that did the other thing at the last take is still that unit.
    otherwise_ = unless_taken_;
    now_.name = "after " + name + " " + std::to_string(++dims_) + " at " +
                number_text(std::round(1000 * dim->levels[now_.level]) / 10) + " %";
    pressed.dims = true;
    if (otherwise_) otherwise_->level = now_.level;
  } else if (const auto* peak = std::get_if<ShowPeak>(&button->does)) {
    pressed.clears_peak = peak_shown_ && at <= *peak_shown_ + peak->lasts;
    peak_shown_ = pressed.clears_peak ? std::nullopt : std::optional(at);
  }
  return pressed;
}

StateFollower::Pressed StateFollower::take(const Button& button, const TakeRpm& take, const RpmAtPress& rpm) {
  // Settings are made at 1 rpm, where the gauge says nothing else.
  const double resolution_rpm = set_.resolution_rpm > 0 ? set_.resolution_rpm : 1;
  const double doubt = std::max(rpm.highest - rpm.rpm, rpm.rpm - rpm.lowest) + resolution_rpm / 2;
  const bool surely_in = rpm.rpm - doubt >= take.lowest_rpm && rpm.rpm + doubt <= take.highest_rpm;
  const bool surely_out = rpm.rpm + doubt < take.lowest_rpm || rpm.rpm - doubt > take.highest_rpm;
  const std::string name =
      "after " + button.name + " " + std::to_string(++takes_) + " at " + rpm_text(rpm.rpm);
  UnitState taken = now_;
  taken.gauge = with_boundary_at(now_.gauge, take.boundary, rpm.rpm);
  taken.doubt_rpm = doubt;
  taken.unknown.clear();
  taken.name = name;
  UnitState left = now_;
  left.name = name;
  Pressed pressed;
  pressed.takes = true;
  if (!surely_in && !surely_out) {
    now_ = left;
    now_.unknown = "'" + button.name + "' was pressed at " + rpm_text(rpm.rpm) + ", too near the limit of " +
                   number_text(take.lowest_rpm) + " to " + number_text(take.highest_rpm) +
                   " rpm to say whether the unit had to take it";
    return pressed;
  }
  pressed.refused = surely_out;
  if (surely_in) {
    // A take settles what was open before it, where it moves the same boundaries.
    now_ = taken;
    if (left.unknown.empty()) otherwise_ = left;
    std::erase_if(taken_, [&](const Taken& t) {
      return set_.windows[t.boundary].anchor == set_.windows[take.boundary].anchor;
    });
    taken_.push_back({button.name, take.boundary, rpm.rpm, doubt});
  } else {
    now_ = left;
    // Only where the windows would stay in order could the unit have taken it.
    Gauge bare = taken.gauge;
    bare.buttons.clear();
    bare.power_up.reset();
    if (problems_of(bare).empty() && left.unknown.empty()) otherwise_ = taken;
  }
  unless_taken_ = otherwise_;
  return pressed;
}

void StateFollower::power_lost() {
  otherwise_.reset();
  unless_taken_.reset();
  peak_shown_.reset();
  const PowerUp power_up = set_.power_up.value_or(PowerUp{});
  const UnitState before = now_;
  now_ = {set_, "after power " + std::to_string(++losses_), 0, 0, ""};
  const auto apply = [&](UnitState& state, bool kept) {
    for (const Taken& taken : taken_)
      if (keeps(power_up, taken.button) == kept) {
        state.gauge = with_boundary_at(state.gauge, taken.boundary, taken.rpm);
        state.doubt_rpm = std::max(state.doubt_rpm, taken.doubt_rpm);
      }
  };
  UnitState other = now_;
  apply(now_, true);
  apply(other, false);
  for (const Button& button : set_.buttons)
    if (std::holds_alternative<Dim>(button.does) && keeps(power_up, button.name)) now_.level = before.level;
  // What the unit may or may not have taken is only forgotten where no take is kept.
  for (const Button& button : set_.buttons)
    if (std::holds_alternative<TakeRpm>(button.does) && keeps(power_up, button.name))
      now_.unknown = before.unknown;
  if (!taken_.empty()) otherwise_ = other;
  std::erase_if(taken_, [&](const Taken& taken) { return !keeps(power_up, taken.button); });
}

}  // namespace tachproof

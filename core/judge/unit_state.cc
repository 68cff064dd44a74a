#include "core/judge/unit_state.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/base/text.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr Nanos never_awake = std::numeric_limits<Nanos>::max();

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

void StateFollower::call_it() { now_.name = event_ + (event_.empty() || fed_.empty() ? "" : ", ") + fed_; }

StateFollower::Pressed StateFollower::press(const std::string& name, Nanos at, const RpmAtPress& rpm) {
  otherwise_.clear();
  as_well_.clear();
  const Button* button = button_named(set_, name);
  if (button == nullptr) return {};
  if (awake_by_ == never_awake)
    now_.unknown =
        "nobody says that the supply was back before '" + name + "' was pressed at " + say_time(at);
  else if (at < awake_by_ && !std::holds_alternative<ShowPeak>(button->does))
    now_.unknown = "'" + name + "' was pressed at " + say_time(at) +
                   ", before the unit had to be awake: press it " + say_span(awake_by_ - at) + " later";
  if (const auto* taking = std::get_if<TakeRpm>(&button->does)) return take(*button, *taking, at, rpm);
  Pressed pressed;
  if (const auto* dim = std::get_if<Dim>(&button->does)) {
    now_.level = (now_.level + 1) % dim->levels.size();
    event_ = "after " + name + " " + std::to_string(++dims_) + " at " +
             number_text(std::round(1000 * dim->levels[now_.level]) / 10) + " %";
    call_it();
    pressed.dims = true;
  } else if (const auto* peak = std::get_if<ShowPeak>(&button->does)) {
    pressed.clears_peak = peak_shown_ && at <= *peak_shown_ + peak->lasts;
    peak_shown_ = pressed.clears_peak ? std::nullopt : std::optional(at);
  }
  return pressed;
}

StateFollower::Pressed StateFollower::take(const Button& button, const TakeRpm& take, Nanos at,
                                           const RpmAtPress& rpm) {
  // Settings are made at 1 rpm, where the gauge says nothing else.
  const double resolution_rpm = set_.resolution_rpm > 0 ? set_.resolution_rpm : 1;
  const double doubt = std::max(rpm.highest - rpm.rpm, rpm.rpm - rpm.lowest) + resolution_rpm / 2;
  const bool surely_in = rpm.rpm - doubt >= take.lowest_rpm && rpm.rpm + doubt <= take.highest_rpm;
  const bool surely_out = rpm.rpm + doubt < take.lowest_rpm || rpm.rpm - doubt > take.highest_rpm;
  event_ = "after " + button.name + " " + std::to_string(++takes_) + " at " + rpm_text(rpm.rpm);
  call_it();
  StateFollower left = *this, taken = *this;
  taken.keep({button.name, take.boundary, rpm.rpm, doubt});
  // A take settles what was open before it, where it moves the same boundaries.
  const bool asleep = at < awake_by_;
  if (!asleep) taken.now_.unknown.clear();
  Pressed pressed;
  pressed.takes = true;
  if (asleep) {
    pressed.refused = surely_out;
    return pressed;
  }
  if (!surely_in && !surely_out) {
    now_.unknown = "'" + button.name + "' was pressed at " + rpm_text(rpm.rpm) + ", too near the limit of " +
                   number_text(take.lowest_rpm) + " to " + number_text(take.highest_rpm) +
                   " rpm to say whether the unit had to take it: press further inside or outside the range";
    return pressed;
  }
  pressed.refused = surely_out;
  if (!left.now_.unknown.empty()) {
    if (surely_in) *this = std::move(taken);
    return pressed;
  }
  StateFollower& other = surely_in ? left : taken;
  other.event_ += surely_in ? ", not taken" : ", taken all the same";
  other.call_it();
  // Only where the windows would stay in order could the unit have taken it.
  const auto in_order = [](const StateFollower& unit) {
    Gauge bare = unit.now_.gauge;
    bare.buttons.clear();
    bare.power_up.reset();
    return problems_of(bare).empty();
  };
  std::vector<StateFollower> others;
  if (surely_in || in_order(other)) others.push_back(other);
  if (surely_in) {
    // The window that the boundary belongs to has another end, below or above.
    for (const std::size_t end : {take.boundary - 1, take.boundary + 1}) {
      if (end == 0 || end >= set_.windows.size() ||
          set_.windows[end].anchor != set_.windows[take.boundary].anchor)
        continue;
      StateFollower elsewhere = left;
      elsewhere.event_ = event_ + ", taken for " + set_.windows[end].name;
      elsewhere.call_it();
      elsewhere.keep({button.name, end, rpm.rpm, doubt});
      if (in_order(elsewhere)) others.push_back(std::move(elsewhere));
    }
    *this = std::move(taken);
  }
  otherwise_ = std::move(others);
  return pressed;
}

void StateFollower::keep(Taken taken) {
  std::erase_if(taken_, [&](const Taken& before) {
    return set_.windows[before.boundary].anchor == set_.windows[taken.boundary].anchor;
  });
  taken_.push_back(std::move(taken));
  set_boundaries();
}

void StateFollower::set_boundaries() {
  now_.gauge = set_;
  now_.doubt_rpm = 0;
  for (const Taken& taken : taken_) {
    now_.gauge = with_boundary_at(now_.gauge, taken.boundary, taken.rpm);
    now_.doubt_rpm = std::max(now_.doubt_rpm, taken.doubt_rpm);
  }
}

void StateFollower::took(double rpm, double doubt_rpm) {
  if (taken_.empty()) return;
  taken_.back().rpm = rpm;
  taken_.back().doubt_rpm = doubt_rpm;
  event_ += ", taken at " + rpm_text(rpm);
  call_it();
  set_boundaries();
}

void StateFollower::came_back_off(double by_rpm, double doubt_rpm) {
  std::vector<Taken> all;
  for (const Button& button : set_.buttons)
    if (const auto* take = std::get_if<TakeRpm>(&button.does))
      all.push_back(
          {button.name, take->boundary, now_.gauge.windows[take->boundary].from_rpm + by_rpm, doubt_rpm});
  for (Taken& one : all) keep(std::move(one));
  event_ += ", off by " + rpm_text(by_rpm);
  call_it();
}

void StateFollower::drifted(double by_rpm, double doubt_rpm) {
  for (std::size_t b = 1; b < now_.gauge.windows.size(); ++b) now_.gauge.windows[b].from_rpm += by_rpm;
  now_.doubt_rpm += doubt_rpm;
}

void StateFollower::fed(bool dips) {
  otherwise_.clear();
  as_well_.clear();
  if (!dips) return;
  const PowerUp power_up = set_.power_up.value_or(PowerUp{});
  for (const Button& button : set_.buttons)
    if (std::holds_alternative<Dim>(button.does) && !keeps(power_up, button.name) && now_.level != 0)
      now_.level_unknown =
          "the supply dipped since the light was dimmed, which may have reset it: dim again after "
          "the supply was cut, or let the unit keep its level";
  StateFollower out = *this;
  out.event_ = "after a dip";
  StateFollower forgot = out;
  std::erase_if(out.taken_, [&](const Taken& taken) { return !keeps(power_up, taken.button); });
  forgot.taken_.clear();
  forgot.event_ += ", forgotten";
  for (StateFollower* unit : {&out, &forgot}) {
    unit->set_boundaries();
    unit->call_it();
  }
  if (!now_.unknown.empty()) return;
  if (!same_boundaries(now_, forgot.now_) && !same_boundaries(out.now_, forgot.now_))
    otherwise_.push_back(std::move(forgot));
  if (!same_boundaries(now_, out.now_)) as_well_.push_back(std::move(out));
}

void StateFollower::fed_now(const std::string& name, Nanos awake_by) {
  fed_ = name;
  awake_by_ = std::max(awake_by_, awake_by);
  call_it();
}

void StateFollower::power_lost(Nanos awake_by) {
  awake_by_ = awake_by;
  otherwise_.clear();
  as_well_.clear();
  peak_shown_.reset();
  const PowerUp power_up = set_.power_up.value_or(PowerUp{});
  const UnitState before = now_;
  now_ = {set_, "", 0, 0, ""};
  event_ = "after power " + std::to_string(++losses_);
  for (const Button& button : set_.buttons)
    if (std::holds_alternative<Dim>(button.does) && keeps(power_up, button.name)) now_.level = before.level;
  // What the unit may or may not have taken is only forgotten where no take is kept.
  for (const Button& button : set_.buttons)
    if (std::holds_alternative<TakeRpm>(button.does) && keeps(power_up, button.name))
      now_.unknown = before.unknown;
  StateFollower lost = *this, kept = *this;
  lost.taken_.clear();
  lost.event_ += ", forgotten";
  kept.event_ += ", not forgotten";
  std::erase_if(taken_, [&](const Taken& taken) { return !keeps(power_up, taken.button); });
  for (StateFollower* unit : {this, &lost, &kept}) {
    unit->set_boundaries();
    unit->call_it();
  }
  if (!now_.unknown.empty()) return;
  for (StateFollower* other : {&lost, &kept})
    if (!same_boundaries(now_, other->now_)) otherwise_.push_back(std::move(*other));
}

bool same_boundaries(const UnitState& a, const UnitState& b) {
  return std::equal(
      a.gauge.windows.begin(), a.gauge.windows.end(), b.gauge.windows.begin(), b.gauge.windows.end(),
      [](const Window& one, const Window& other) { return std::abs(one.from_rpm - other.from_rpm) < 1e-6; });
}

}  // namespace tachproof

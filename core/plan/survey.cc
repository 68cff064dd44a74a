#include "core/plan/survey.h"

#include <algorithm>
#include <cmath>

#include "core/base/rpm.h"
#include "core/judge/window_reading.h"
#include "core/plan/survey_times.h"

namespace tachproof {
namespace {

constexpr int blink_cycles = 3;   // whole ones, at any phase
constexpr int most_rounds = 200;  // the time ends it before
// A bracket's half is the uncertainty, and some is left for the bench.
constexpr double bracket_per_within = 1.8;
constexpr double narrower = 0.7;
constexpr int most_narrowed = 4;

}  // namespace

JudgeWhat survey_asks(double within_rpm) {
  JudgeWhat what;
  what.thresholds = true;
  what.within_rpm = within_rpm;
  return what;
}

RunResult judge_survey(const Gauge& gauge, const JudgeSetup& setup, const SurveyView& view, bool complete) {
  const Profile profile(view.steps);
  Judge judge(gauge, setup);
  for (const Segment& segment : profile.segments()) judge.rpm(segment);
  judge.lamps(view.events);
  return judge.finish(std::min(view.seen_until, profile.duration()), complete);
}

SurveyPlanner::SurveyPlanner(const Gauge& gauge, const SurveySetup& setup)
    : gauge_(gauge), setup_(setup), narrow_(gauge) {
  setup_.judge.what = survey_asks(setup.within_rpm);
  const WindowReading reading(gauge_, setup_.judge.wired);
  for (std::size_t b = 1; b <= gauge_.boundaries(); ++b) {
    if (blink_only(reading, b)) {
      const double far = gauge_.tolerance.rpm + spare_rpm, width = bracket_per_within * setup_.within_rpm;
      const double rise = gauge_.rising_rpm(b), fall = gauge_.falling_rpm(b);
      held_.push_back({b, HoldReading(gauge_, setup_.judge.wired, b),
                       ThresholdSearch(Direction::rising, rise, rise - far, rise + far, width),
                       ThresholdSearch(Direction::falling, fall, fall - far, fall + far, width), width, far,
                       0});
    } else {
      (reading.look_alike(b - 1, b) ? unmeasurable_ : measured_).push_back(b);
    }
  }
  for (std::size_t w = 0; w < gauge_.windows.size(); ++w)
    if (reading.blinking(w) != 0) blinking_.push_back(w);
  needs_.resize(gauge_.windows.size());
}

// Already above the first boundary that is passed, so that no filter has to forget where it came from.
void SurveyPlanner::start(std::vector<Step>& out) {
  if (measured_.empty()) {
    out = {Hold{std::get<Hold>(rest().back()).rpm, unit_wakes}};
    return;
  }
  first_ = first();
  const std::size_t first = measured_[first_];
  std::vector<Step> passes;
  pair(first, fast_rate(first), passes);
  out = {Hold{std::get<Hold>(passes.front()).rpm, unit_wakes}};
  out.insert(out.end(), passes.begin(), passes.end());
}

std::vector<Step> SurveyPlanner::dwell(std::size_t window) {
  const double hz = std::max(gauge_.blink->hz - gauge_.tolerance.blink_hz, 0.1);
  const double from = gauge_.windows[window].from_rpm;
  const bool last = window == gauge_.boundaries();
  const double middle = last ? from + std::max(50.0, 4 * gauge_.deadband.rpm)
                             : (from + gauge_.windows[window + 1].from_rpm) / 2;
  std::vector<Step> out;
  ask_above(middle, out);
  place_.rpm = hundredths(std::min(middle, Profile::max_rpm));
  place_.high_rpm = 0;
  out.push_back(
      Hold{place_.rpm, tenths_ms(from_seconds((blink_cycles + 1) / hz) + gauge_.tolerance.response_to)});
  return out;
}

void SurveyPlanner::hold(std::size_t held, Nanos from, std::vector<Step>& out) {
  pass(held, Direction::rising, from + lasting(out), out);
  pass(held, Direction::falling, from + lasting(out), out);
  place_.high_rpm = 0;
  if (!out.empty()) place_.rpm = std::get<Hold>(out.back()).rpm;
}

// From the far side, where the unit is surely back, hold by hold over the bracket.
void SurveyPlanner::pass(std::size_t held, Direction direction, Nanos from, std::vector<Step>& out) {
  const Held& h = held_[held];
  const bool rising = direction == Direction::rising;
  Pass pass{held, direction, (rising ? h.rising : h.falling).pass(), from, tenths_ms(h.reading.least())};
  if (pass.rpm.empty()) return;
  const double first = pass.rpm.front(), width = gauge_.deadband.rpm;
  const double fall = gauge_.falling_rpm(h.boundary), rise = gauge_.rising_rpm(h.boundary);
  const double far = rising
                         ? std::max(std::min(first - width, fall) - h.margin_rpm, 0.4 * std::min(first, fall))
                         : std::min(std::max(first + width, rise) + h.margin_rpm, Profile::max_rpm);
  out.push_back(Hold{hundredths(far), pass.each});
  for (const double rpm : pass.rpm) out.push_back(Hold{rpm, pass.each});
  passes_.push_back(std::move(pass));
}

void SurveyPlanner::read_passes(const SurveyView& view) {
  if (passes_.empty()) return;
  const std::vector<LampEvent> lamps = shown_lamps(view.events, setup_.judge.wired, gauge_.tolerance.settle);
  for (const Pass& pass : passes_) {
    Held& h = held_[pass.held];
    const bool rising = pass.direction == Direction::rising;
    std::vector<HoldReading::Side> sides;
    for (std::size_t i = 0; i <= pass.rpm.size(); ++i) {
      const Nanos from = pass.from + static_cast<Nanos>(i) * pass.each;
      sides.push_back(h.reading.read(lamps, from, std::min(from + pass.each, view.seen_until)));
    }
    if (sides.front() == (rising ? HoldReading::Side::above : HoldReading::Side::below)) {
      // It had not come back before the pass, which therefore tells nothing.
      h.margin_rpm *= 3;
      std::fill(sides.begin(), sides.end(), HoldReading::Side::either);
    }
    (rising ? h.rising : h.falling).seen(pass.rpm, std::span(sides).subspan(1));
  }
  passes_.clear();
}

std::vector<Step> SurveyPlanner::rest() {
  const std::size_t first = std::min(measured_.empty() ? gauge_.boundaries() : measured_.front(),
                                     held_.empty() ? gauge_.boundaries() : held_.front().boundary);
  const double low = ways(first, slow_rate(first)).low();
  std::vector<Step> out;
  ask_above(low, out);
  place_.rpm = low;
  place_.high_rpm = 0;
  out.push_back(Hold{low, tenths_ms(setup_.ahead + 20 * ns_per_ms)});
  return out;
}

void SurveyPlanner::look(const SurveyView& view) {
  read_passes(view);
  known_ = judge_survey(gauge_, setup_.judge, view, true);
  take_delays();
  for (Held& held : held_) narrow(held);
  for (const std::size_t b : measured_) {
    std::vector<double> off_rpm;
    for (const BoundaryResult& row : known_.boundaries)
      if (row.boundary == gauge_.windows[b].name && row.visits > 0 && std::isfinite(row.threshold_rpm))
        off_rpm.push_back(row.threshold_rpm - row.nominal_rpm);
    if (off_rpm.size() != 2) continue;
    Need& need = needs_[b];
    const auto [least, most] = std::minmax(off_rpm[0], off_rpm[1]);
    need.shift_rpm = (least + most) / 2;
    const bool agree = !need.wary || most - least <= gauge_.tolerance.rpm;
    need.least_rpm = agree ? need.shift_rpm : least;
    need.most_rpm = agree ? need.shift_rpm : most;
  }
}

// The judge may want a bracket narrower than was planned.
void SurveyPlanner::narrow(Held& held) {
  if (!held.rising.known() || !held.falling.known() || held.narrowed == most_narrowed) return;
  for (const BoundaryResult& row : known_.boundaries)
    if (row.boundary == gauge_.windows[held.boundary].name &&
        row.expanded_uncertainty_rpm > setup_.within_rpm) {
      held.width_rpm *= narrower;
      ++held.narrowed;
      held.rising.narrow_to(held.width_rpm);
      held.falling.narrow_to(held.width_rpm);
      return;
    }
}

void SurveyPlanner::expect_between(std::size_t boundary, double below_rpm, double above_rpm) {
  for (Held& h : held_) {
    if (h.boundary != boundary) continue;
    const double middle = (below_rpm + above_rpm) / 2;
    h.rising = ThresholdSearch(Direction::rising, middle, below_rpm, above_rpm, h.width_rpm);
    h.rising.old_side_at(below_rpm);
    h.rising.new_side_at(above_rpm);
    h.falling = ThresholdSearch(Direction::falling, middle, below_rpm, above_rpm, h.width_rpm);
    h.falling.old_side_at(above_rpm);
  }
}

std::optional<ThresholdSearch::Bracket> SurveyPlanner::bracket(std::size_t boundary,
                                                               Direction direction) const {
  for (const Held& h : held_)
    if (h.boundary == boundary) return (direction == Direction::rising ? h.rising : h.falling).bracket();
  return std::nullopt;
}

bool SurveyPlanner::known_well(std::size_t boundary) const {
  int rows = 0;
  for (const BoundaryResult& row : known_.boundaries)
    if (row.boundary == gauge_.windows[boundary].name && row.visits > 0 &&
        row.expanded_uncertainty_rpm <= setup_.within_rpm)
      ++rows;
  return rows == 2;
}

std::size_t SurveyPlanner::known() const {
  const auto ramped = std::count_if(measured_.begin(), measured_.end(),
                                    [this](std::size_t boundary) { return known_well(boundary); });
  const auto held = std::count_if(held_.begin(), held_.end(),
                                  [](const Held& h) { return h.rising.known() && h.falling.known(); });
  return static_cast<std::size_t>(ramped + held);
}

std::vector<Step> SurveyPlanner::next(const SurveyView& view) {
  const std::size_t passes = passes_.size();
  std::vector<Step> steps = plan(view);
  // Holds are timed as they were planned.
  if (steps.empty() || view.steps.empty() || passes_.size() > passes) return steps;
  const Step& last = view.steps.back();
  const auto* hold = std::get_if<Hold>(&last);
  return narrow_.unhurried(hold != nullptr ? hold->rpm : std::get<RampByTime>(last).to_rpm, std::move(steps));
}

std::vector<Step> SurveyPlanner::plan(const SurveyView& view) {
  std::vector<Step> out;
  while (out.empty() && phase_ != Phase::over) go_on(view, out);
  return out;
}

void SurveyPlanner::enter(Phase phase) {
  phase_ = phase;
  at_ = 0;
}

void SurveyPlanner::go_on(const SurveyView& view, std::vector<Step>& out) {
  switch (phase_) {
    case Phase::start:
      if (wanted() == 0) return enter(Phase::over);
      start(out);
      return enter(Phase::blinks);
    case Phase::blinks:
      if (at_ < blinking_.size()) {
        out = dwell(blinking_[at_++]);
        return;
      }
      if (blinking_.empty() && !measured_.empty() && at_++ == 0) {  // then the first pass is waited for
        out = {Hold{place_.high_rpm, tenths_ms(setup_.ahead + gauge_.tolerance.response_to)}};
        return;
      }
      look(view);
      return enter(takes_stairs() ? Phase::pilot : Phase::fast);
    case Phase::pilot:
      if (at_ < pilot_steps) return pilot(view, out);
      look(view);
      out = stairs();
      if (out.empty()) return enter(Phase::fast);
      enter(Phase::stairs);
      for (Step& step : rest()) out.push_back(step);
      return;
    case Phase::stairs:
      look(view);
      take_climbed();
      return enter(Phase::fast);
    case Phase::fast:
      while (at_ < measured_.size() && (at_ == first_ || at_ == pilot_ || needs_[measured_[at_]].climbed))
        ++at_;
      if (at_ < measured_.size()) {
        if (at_ > 1 && at_ < 4 && !known_.memory.known()) look(view);
        pair(measured_[at_], fast_rate(measured_[at_]), out);
        ++at_;
        return;
      }
      if (all_climbed()) return enter(held_.empty() ? Phase::rest : Phase::holds);
      look(view);
      look_if_lost(view);
      // A unit that shows nothing at all is off, or not seen.
      return enter(view.events.size() < 2 ? Phase::over : Phase::slow);
    case Phase::slow:
      while (at_ < measured_.size() &&
             (at_ == pilot_ || needs_[measured_[at_]].given_up || needs_[measured_[at_]].climbed))
        ++at_;
      if (at_ < measured_.size()) {
        slow_pairs(at_++, out);
        return;
      }
      if (!held_.empty()) ask_above(0, out);
      return enter(Phase::holds);
    case Phase::holds:
      if (at_ < held_.size() && !lost_) return hold(at_++, lasting(view.steps), out);
      out = rest();
      return enter(Phase::rest);
    case Phase::rest:
      look(view);
      plan_again();
      if (gives_up(view)) return enter(Phase::over);
      return enter(again_.empty() || rounds_ > most_rounds || view.seen_until > setup_.longest
                       ? Phase::over
                       : Phase::again);
    case Phase::again:
      if (at_ < again_.size() && !(stops_because_ && view.seen_until > enough_))
        return do_again(again_[at_++], view, out);
      out = rest();
      return enter(Phase::rest);
    case Phase::over: return;
  }
}

void SurveyPlanner::do_again(const Again& again, const SurveyView& view, std::vector<Step>& out) {
  if (again.rate > 0)
    pair(again.boundary, again.rate, out);
  else
    hold(again.boundary, lasting(view.steps), out);
}

}  // namespace tachproof

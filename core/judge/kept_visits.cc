#include "core/judge/kept_visits.h"

#include <algorithm>
#include <cmath>

#include "core/base/rpm.h"

namespace tachproof {
namespace {

constexpr std::size_t visits_kept = 200;  // per boundary and direction: enough for any U
// A jump is one from a place where the rpm had stayed, but for this share of it.
constexpr double stayed = 0.1;
constexpr std::size_t changes_kept = 32;

}  // namespace

KeptVisits::KeptVisits(const Gauge& gauge, const JudgeSetup& setup)
    : gauge_(gauge),
      slack_(settling_time(gauge)),
      from_s_(to_seconds(gauge.tolerance.response_from - setup.bench.source.lag)),
      to_s_(to_seconds(gauge.tolerance.response_to + setup.bench.source.lag)),
      rpm_noise_(setup.rpm_uncertainty),
      takes_short_(is_quiet_survey(setup)),
      count_(2 * gauge.windows.size()),
      short_count_(2 * gauge.windows.size()) {}

void KeptVisits::add(const SeenTransition& seen, const RpmHistory& history) {
  const ExpectedTransition& demand = seen.crossing.demand;
  const std::size_t way = way_of(demand.boundary, demand.direction);
  if (seen.step && takes_short_) take_jump(seen, history);
  if (count_[way] == visits_kept) return;
  Visit visit;
  visit.boundary = demand.boundary;
  visit.direction = demand.direction;
  visit.step = seen.step;
  visit.step_response_s = seen.step_response_s;
  visit.rpm_noise = rpm_noise_;
  visit.spacing_s = std::max(1.25 * to_s_, 0.05) / (Visit::samples - 1);
  for (std::size_t k = 0; k < Visit::samples; ++k)
    visit.rpm_before[k] =
        history.rpm_at(seen.crossing.at - from_seconds(visit.spacing_s * static_cast<double>(k)));
  if (seen.step || visit.keeps_its_rate(from_s_, to_s_)) {
    ++count_[way];
    visits_.push_back(visit);
    if (!seen.step) take_ramp(visit, demand.nominal_rpm);
    return;
  }
  if (!takes_short_ || short_count_[way] == visits_kept) return;
  visit.kept_s = to_s_ - visit.spacing_s;
  while (visit.kept_s > from_s_ && !visit.keeps_its_rate(from_s_, visit.kept_s))
    visit.kept_s -= visit.spacing_s;
  if (visit.kept_s <= from_s_) return;
  ++short_count_[way];
  short_.push_back(visit);
}

bool KeptVisits::swung(const Change& change, const Jump& jump) const {
  return change.since == jump.since && change.at > jump.at + slack_;
}

void KeptVisits::changed(Nanos at, const RpmHistory& history) {
  if (!takes_short_) return;
  const auto still = history.still_at(at);
  changes_.push_back({at, still ? still->since : -1});
  if (changes_.size() > changes_kept) changes_.pop_front();
  if (!last_jump_ || at <= last_jump_->at + slack_) return;
  if (!swung(changes_.back(), *last_jump_)) memory_ = memory();
  last_jump_.reset();
}

JumpMemory KeptVisits::memory() const {
  JumpMemory out = memory_;
  if (last_jump_)
    out.jump(to_seconds(last_jump_->at - last_jump_->since), last_jump_->left, last_jump_->pulse_s);
  return out;
}

// Where the lamps stopped changing, the reading is inside the window that the jump went to: it is not short
// of it, and has not swung out on the other side.
void KeptVisits::take_jump(const SeenTransition& seen, const RpmHistory& history) {
  const Nanos at = seen.crossing.at;
  const auto still = history.still_at(at);
  if (!still) return;
  const double there = still->rpm, far = std::abs(there - history.rpm_at(still->since - 1));
  std::size_t w = 0;
  while (w < gauge_.boundaries() && there >= gauge_.rising_rpm(w + 1)) ++w;
  // A blink may be dark when it begins, which dates nothing.
  if (w == 0 || w == gauge_.boundaries() || gauge_.windows[w].cue.blinking != 0) return;
  const ExpectedTransition& demand = seen.crossing.demand;
  if (demand.boundary != (demand.direction == Direction::rising ? w : w + 1)) return;
  const auto [low, high] = history.range_between(still->since - from_seconds(to_s_), still->since - 1);
  if (high - low > stayed * far) return;
  const double left = std::max(there - gauge_.falling_rpm(w), gauge_.rising_rpm(w + 1) - there);
  const Jump jump{at, still->since, (left + gauge_.tolerance.rpm) / far,
                  pulse_period_s(gauge_.pulses_per_rev, there)};
  if (std::any_of(changes_.begin(), changes_.end(), [&](const Change& c) { return swung(c, jump); })) return;
  memory_ = memory();
  last_jump_ = jump;
}

void KeptVisits::take_ramp(const Visit& visit, double nominal_rpm) {
  const double rate = visit.slope(0);
  if (!tells_response(std::abs(rate), to_s_, gauge_.tolerance.rpm)) return;
  memory_.ramp((visit.rpm(0) - nominal_rpm) / rate);
}

std::vector<Visit> KeptVisits::all() const {
  const JumpMemory shown = memory();
  std::vector<Visit> out = visits_;
  for (const Visit& visit : short_)
    if (visit.kept_s >= shown.needs_s(pulse_period_s(gauge_.pulses_per_rev, visit.rpm_before.front())))
      out.push_back(visit);
  return out;
}

}  // namespace tachproof

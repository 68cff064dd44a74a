#include "core/plan/dwell_visit.h"

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

// The faster, the shorter, and the more a threshold scatters: 0.12 rpm standard at 40 rpm/s and 100 updates a
// second.
constexpr double fastest = 40, least_fast = 16;
// Half as fast as the fast ones at most, or the line through both would be hard to draw.
constexpr double slow_by_fast = 0.5;
constexpr double slow = 10;
constexpr double widest_rpm = 60;  // either way
constexpr double in_hand_rpm = 2;  // beside the tolerance
// A threshold repeats within this, from visit to visit, and the more of a second the faster it is passed.
constexpr double repeats_rpm = 1, repeats_s = 0.04;
constexpr Nanos at_the_end = 10 * ns_per_ms;

double room_at(const Gauge& gauge, std::size_t b) {
  const double boundary = gauge.windows[b].from_rpm;
  double room = boundary - gauge.windows[b - 1].from_rpm;
  if (b < gauge.boundaries()) room = std::min(room, gauge.windows[b + 1].from_rpm - boundary);
  return std::min(widest_rpm, room / 2);
}

}  // namespace

DwellVisits::DwellVisits(const Gauge& gauge, std::size_t b)
    : nominal_rpm_((gauge.rising_rpm(b) + gauge.falling_rpm(b)) / 2),
      deadband_rpm_(gauge.deadband.rpm),
      within_rpm_(gauge.tolerance.rpm + in_hand_rpm),
      widest_half_(room_at(gauge, b)),
      response_(gauge.tolerance.response_to) {
  // Slower where there is no room.
  const double room = widest_half_ - deadband_rpm_ / 2 - within_rpm_;
  fast_ = response_ > 0 ? std::clamp(room / to_seconds(response_), least_fast, fastest) : fastest;
  slow_ = std::min(slow, slow_by_fast * fast_);
}

// On a ramp the lamps change by the response late.
double DwellVisits::lead_rpm(double rate) const { return rate * to_seconds(response_); }

double DwellVisits::usual_half() const {
  return std::min(deadband_rpm_ / 2 + within_rpm_ + lead_rpm(fast_), widest_half_);
}

DwellVisit DwellVisits::whole(Rate rate, double middle, double half) const {
  DwellVisit visit;
  visit.response_ = response_;
  visit.rate_ = rpm_per_s(rate);
  visit.low_rpm_ = visit.up_rpm_ = middle - half;
  visit.high_rpm_ = visit.down_rpm_ = middle + half;
  return visit;
}

// Ramps are led in for the response, so that a change on the ramp's way is not the jump's.
DwellVisit DwellVisits::brief(Rate rate, double middle) const {
  const double beside = within_rpm_ + lead_rpm(rpm_per_s(rate));
  DwellVisit visit = whole(rate, middle, std::min(deadband_rpm_ / 2 + beside, widest_half_));
  visit.make_brief(middle + deadband_rpm_ / 2 - beside, middle - deadband_rpm_ / 2 + beside);
  return visit;
}

// The response is in what was seen; at another rate it comes at another rpm.
DwellVisit DwellVisits::again(Rate rate, const DwellVisit::Seen& last,
                              std::optional<double> response_s) const {
  const double faster = rpm_per_s(rate) - last.rate, most_s = to_seconds(response_);
  const double shift = response_s ? faster * std::clamp(*response_s, 0.0, most_s) : 0;
  const double least = response_s ? 0 : std::min(faster * most_s, 0.0);
  const double most = response_s ? 0 : std::max(faster * most_s, 0.0);
  const double repeats = repeats_rpm + repeats_s * rpm_per_s(rate);
  const double before = repeats - least + lead_rpm(rpm_per_s(rate)), after = repeats + most;
  const double up = last.up_rpm + shift, down = last.down_rpm - shift;
  const double half = std::abs(up - down) / 2 + after;
  DwellVisit visit = whole(rate, last.middle_rpm(), std::min(half, widest_half_));
  visit.make_brief(up - before, down + before);
  return visit;
}

void DwellVisit::make_brief(double up_rpm, double down_rpm) {
  is_brief_ = true;
  up_rpm_ = std::max(low_rpm_, up_rpm);
  down_rpm_ = std::min(high_rpm_, down_rpm);
}

Nanos DwellVisit::ramp(double from, double to) const { return from_seconds((to - from) / rate_); }

// Before the way down the unit settles as long as before the way up, so that a jump leaves as much in both.
std::vector<Step> DwellVisit::steps(Nanos settling) const {
  std::vector<Step> steps = {Hold{low_rpm_, settling + response_}};
  if (up_rpm_ > low_rpm_) steps.push_back(StepTo{up_rpm_});
  steps.push_back(RampByTime{high_rpm_, ramp(up_rpm_, high_rpm_)});
  steps.push_back(Hold{high_rpm_, settling + response_});
  if (down_rpm_ < high_rpm_) steps.push_back(StepTo{down_rpm_});
  steps.push_back(RampByTime{low_rpm_, ramp(low_rpm_, down_rpm_)});
  steps.push_back(Hold{low_rpm_, at_the_end + (is_brief_ ? 0 : response_)});
  return steps;
}

Nanos DwellVisit::lasts(Nanos settling) const {
  return 2 * (settling + response_) + ramp(up_rpm_, high_rpm_) + ramp(low_rpm_, down_rpm_) + at_the_end +
         (is_brief_ ? 0 : response_);
}

std::optional<DwellVisit::Seen> DwellVisit::seen(std::span<const Change> changes, Nanos settling) const {
  const Profile profile(steps(settling));
  const Nanos up_from = settling + response_, up_to = up_from + ramp(up_rpm_, high_rpm_);
  const Nanos down_from = up_to + settling + response_, down_to = down_from + ramp(low_rpm_, down_rpm_);
  double up_sum = 0, down_sum = 0;
  std::size_t ups = 0, downs = 0;
  for (const Change& change : changes) {
    const bool after_jump = change.up ? up_rpm_ > low_rpm_ : down_rpm_ < high_rpm_;
    const Nanos from = change.up ? up_from : down_from, to = change.up ? up_to : down_to;
    if (after_jump && change.at < from + response_) return std::nullopt;
    if (is_brief_ && change.at > to) return std::nullopt;
    (change.up ? up_sum : down_sum) += profile.rpm_at(change.at);
    ++(change.up ? ups : downs);
  }
  if (ups == 0 || downs == 0) return std::nullopt;
  return Seen{up_sum / static_cast<double>(ups), down_sum / static_cast<double>(downs), rate_};
}

}  // namespace tachproof

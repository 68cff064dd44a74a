#include "bench/run/own_deadband.h"

#include <algorithm>
#include <cmath>

namespace tachproof {

OwnDeadband::OwnDeadband(const Gauge& gauge, std::size_t boundary, const DwellForecast::Boundary& foreseen,
                         const RateTest& test, DwellPlay& play, VisitedUnit& unit)
    : boundary_(boundary),
      boundary_rpm_(gauge.windows[boundary].from_rpm),
      foreseen_(foreseen),
      test_(test),
      play_(play),
      unit_(unit),
      visits_(gauge, boundary),
      shape_(foreseen.shape) {}

bool OwnDeadband::may_visit() const { return !play_.playing().stopped() && middle_.visits() < most_visits; }

bool OwnDeadband::find() {
  const double usual = visits_.usual_half(), widest = visits_.widest_half();
  int missed = 0;
  double half = 0;
  while (may_visit() && !is_known_well()) {
    if (visit(half)) {
      half = least_half();
    } else if (half == 0) {
      briefly_ = false;
      half = usual;
    } else if (is_visited() ? ++missed > most_missed : half >= widest) {
      return false;
    } else {
      half = std::min(2 * half, widest);
    }
  }
  return std::isfinite(u_rpm());
}

// So far to both sides of the middle; as briefly as can be for a half of 0.
bool OwnDeadband::visit(double half) {
  const DwellVisits::Rate rate = next_rate();
  const double middle = is_visited() ? middle_.rpm() : visits_.nominal_rpm();
  const std::optional<DwellVisit::Seen> seen =
      play_.visit(boundary_, half > 0 ? visits_.whole(rate, middle, half)
                             : last_  ? visits_.again(rate, *last_, unit_.response_s)
                                      : visits_.brief(rate, middle));
  if (seen && last_ && seen->rate != last_->rate) learn(*seen, *last_);
  last_ = seen;
  if (seen) middle_.visit(seen->middle_rpm(), seen->rate);
  return seen.has_value();
}

DwellVisits::Rate OwnDeadband::next_rate() const {
  return middle_.visits() % 2 == 0 ? DwellVisits::Rate::fast : DwellVisits::Rate::slow;
}

// A unit whose deadband is narrower than the one that was simulated flickers as much with less noise, and
// less far from its worst mean.
void OwnDeadband::learn(const DwellVisit::Seen& a, const DwellVisit::Seen& b) {
  const double response_s = a.response_s(b);
  const double deadband = a.up_rpm - a.down_rpm - 2 * a.rate * response_s;
  shape_ = foreseen_.shape.scaled(std::clamp(deadband / foreseen_.shape_rpm, 0.01, 1.0));
  unit_.response_s = response_s;
}

// Two visits at each rate at the first boundary, which tell how this unit's visits scatter; then one at
// each. More, where they are shorter than the hold that they save.
bool OwnDeadband::is_known_well() const {
  const double u = u_rpm();
  if (!std::isfinite(u)) return false;
  const auto hold_s = [&](double of_u) { return 60 * test_.earliest_pass_min() / share_of(of_u); };
  return hold_s(u) - hold_s(OwnMiddle::least_u_rpm) <= to_seconds(spent());
}

Nanos OwnDeadband::spent() const {
  const DwellVisit usual = visits_.brief(DwellVisits::Rate::slow, middle_.rpm());
  return static_cast<Nanos>(middle_.visits()) * lasts_on_bench(usual);
}

double OwnDeadband::share_of(double u) const {
  return std::max(0.05, shape_.least_share(hold_offsets(shape_, u), u));
}

void OwnDeadband::visit_until_known() {
  while (may_visit() && !is_known_well())
    if (!visit(least_half())) return;
}

void OwnDeadband::visit_more(Nanos held) {
  while (may_visit() && spent() < held && share_of(u_rpm()) < 0.99 * share_of(OwnMiddle::least_u_rpm))
    if (!visit(least_half())) return;  // where it is lost, the last visit says so
}

bool OwnDeadband::is_still_there() {
  return visit(least_half()) || (!play_.playing().stopped() && visit(visits_.widest_half()));
}

}  // namespace tachproof

// One boundary's deadband as the unit has it: found by visits, and what holding there is worth.
#pragma once

#include <optional>

#include "bench/run/dwell_forecast.h"
#include "bench/run/dwell_play.h"
#include "core/base/rate_test.h"
#include "core/plan/dwell_visit.h"
#include "core/plan/hold_evidence.h"
#include "core/plan/own_middle.h"

namespace tachproof {

// What the visits to all boundaries so far have told of the unit.
struct VisitedUnit {
  OtherVisits others;
  std::optional<double> response_s;
};

class OwnDeadband {
 public:
  static constexpr std::size_t most_visits = 16;
  static constexpr int most_missed = 3;  // visits without a change, after one with

  // What is given must outlive it.
  OwnDeadband(const Gauge& gauge, std::size_t boundary, const DwellForecast::Boundary& foreseen,
              const RateTest& test, DwellPlay& play, VisitedUnit& unit);

  // Visits, until more of them would cost more than they would save of the hold. False: the lamps did not
  // change on one of the ways, wherever it was looked, or it was stopped.
  bool find();
  // Whether they still change there.
  bool is_still_there();
  void visit_until_known();
  // As long as visits cost less than the hold has, and it may gain by them.
  void visit_more(Nanos held);
  // So that the visits to other boundaries know.
  void tell_unit() { unit_.others.add(boundary_rpm_, middle_); }

  bool is_visited() const { return middle_.visits() > 0; }
  double worst_mean() const { return middle_.rpm() + foreseen_.off_rpm; }  // where it flickers most
  double u_rpm() const { return middle_.u_rpm(unit_.others.at(boundary_rpm_)); }
  const MeanShape& shape() const { return shape_; }
  double share_of(double u_rpm) const;  // of its time that a hold is worth, with such a U
  const DwellVisits& visits() const { return visits_; }

 private:
  bool visit(double half_rpm);
  void learn(const DwellVisit::Seen& a, const DwellVisit::Seen& b);
  bool is_known_well() const;
  bool may_visit() const;
  double least_half() const { return briefly_ ? 0 : visits_.usual_half(); }
  Nanos spent() const;
  DwellVisits::Rate next_rate() const;

  std::size_t boundary_;
  double boundary_rpm_;
  const DwellForecast::Boundary& foreseen_;
  const RateTest& test_;
  DwellPlay& play_;
  VisitedUnit& unit_;
  DwellVisits visits_;
  MeanShape shape_;
  OwnMiddle middle_;
  std::optional<DwellVisit::Seen> last_;  // shown by the last visit
  bool briefly_ = true;                   // visits are brief, while they show the lamps' changes
};

}  // namespace tachproof

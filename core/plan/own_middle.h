// The middle of a unit's own deadband, from visits (dwell_visit.h).
//
// A ramp shows each threshold late by the unit's response, and the response may differ between the way up and
// the way down: then the middle lies off by the rate times half of that difference. Visits have two rates, so
// the middle is found where the rate would be 0, by a straight line through them. A visit scatters in time,
// by the unit's updates and the pulses, and so by the more rpm the faster it is.
#pragma once

#include <optional>
#include <vector>

namespace tachproof {

// How far visits lie from such lines, in seconds.
struct VisitScatter {
  double squares_s2 = 0;
  double dof = 0;
};

class OwnMiddle {
 public:
  // U is no less: few visits may agree by chance.
  static constexpr double least_u_rpm = 0.1;
  static constexpr double fewest_dof = 2;  // of the scatter

  void visit(double middle_rpm, double rate_rpm_per_s);
  std::size_t visits() const { return visits_.size(); }
  // Weighted least squares; with visits of one rate only, their mean. NaN with none.
  double rpm() const;
  struct Slope {
    double s = 0;
    double spread = 0;  // its variance, for a visit's variance of 1 s^2
  };
  std::optional<Slope> slope() const;  // nothing with visits of one rate only
  VisitScatter scatter() const;        // of these visits about their line
  // Expanded uncertainty, 95 % (JCGM 100:2008, 4.2.4, G.3 and, of a line, H.3): by the scatter of these
  // visits and of `others`, unless these lie too far apart for that. Infinite with fewer than two rates, and
  // where both together have fewer than two degrees of freedom.
  double u_rpm(const VisitScatter& others = {}) const;

 private:
  struct Visit {
    double middle_rpm = 0, rate = 0;
  };
  struct Line {
    double at_rest_rpm = 0;  // the middle, were the rate 0
    double spread = 0;       // variance of at_rest_rpm, for a visit's variance of 1 s^2
    Slope slope;
  };
  bool has_two_rates() const;
  Line line() const;

  std::vector<Visit> visits_;
};

// What visits at other boundaries of the unit tell of those at one.
class OtherVisits {
 public:
  void add(double boundary_rpm, const OwnMiddle& middle);
  // How they scatter about their lines, and the slopes about their mean: those differ by the scatter, and
  // where the unit's lamps answer unlike at its boundaries by that as well. Pulses are further apart at lower
  // rpm, and readings scatter more.
  VisitScatter at(double boundary_rpm) const;

 private:
  double mean_slope_s() const;
  struct Place {
    double rpm = 0;
    VisitScatter scatter;
    std::optional<OwnMiddle::Slope> slope;
  };
  std::vector<Place> places_;
};

}  // namespace tachproof

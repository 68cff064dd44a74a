// What the holds of a dwell are worth.
//
// A unit flickers most at one mean rpm, about the middle of its own deadband,
// and where that is, is known from a few visits only, within U. So the hold
// moves between the middle and the two ends of that span, and none of its time
// counts for more than it would be worth if the worst mean lay where, within U,
// the hold was least near to it. That a unit flickers too much is proven at any
// mean, for it flickers at the worst one no less.
#pragma once

#include <cstdint>
#include <vector>

namespace tachproof {

// How the rate falls off on both sides of the worst mean: 1 there, from a
// simulation of the noise that is played.
class MeanShape {
 public:
  MeanShape() = default;  // nothing is known: 1 everywhere
  // `rates`: at means `step_rpm` apart, those of [worst - below, ...]; rates[below]
  // is that of the worst mean. What chance makes higher further out is cut.
  MeanShape(const std::vector<double>& rates, std::size_t below, double step_rpm);

  // The rate at `off_rpm` from the worst mean, by the rate there: 0 to 1. Between two means a cubic that
  // never rises outwards, level at the worst one (F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5
  // (1984) 300).
  double share(double off_rpm) const;
  // The same for a deadband that is so many times as wide, and noise that makes as much flicker of it.
  MeanShape scaled(double factor) const;
  // The least mean share over `offs`, wherever within u_rpm the worst mean is.
  double least_share(const std::vector<double>& offs_rpm, double u_rpm) const;

 private:
  static double at_place(const std::vector<double>& side, double place);
  double step_rpm_ = 1;
  std::vector<double> up_, down_;  // from the worst mean outwards
};

// The means that a hold moves between, the likeliest first: the middle alone, unless time at the ends of its
// U as well is worth more.
std::vector<double> hold_offsets(const MeanShape& shape, double u_rpm);

// Changes counted in stays at several means. A change that the move between two
// means has caused is not flicker: each stay proves a fail only by whole cycles
// from its first change on. For a pass every change counts.
class HoldEvidence {
 public:
  void begin_stay(double mean_rpm);
  void stayed(std::uint64_t changes, double minutes);  // so far, in the present stay

  double minutes() const;
  std::uint64_t changes() const;
  double cycles_to_fail() const;
  double cycles_to_pass() const;
  // Minutes at the worst mean that all stays are worth, wherever that lies
  // within u_rpm of `worst_rpm`.
  double worth_min(const MeanShape& shape, double worst_rpm, double u_rpm) const;

 private:
  struct Stay {
    double mean_rpm = 0;
    std::uint64_t changes = 0;
    double minutes = 0;
  };
  std::vector<Stay> stays_;
};

}  // namespace tachproof

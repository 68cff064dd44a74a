// A quantity that is normal under each of several assumptions, and how likely
// each of them is.
#pragma once

#include <vector>

#include "core/base/statistics.h"

namespace tachproof {

class Mixture {
 public:
  void add(double share, double mean, double variance) { parts_.push_back({share, mean, variance}); }

  // An interval about the mean that holds 95 % of it, put as a standard
  // uncertainty and the degrees of freedom with which it gives that interval
  // (GUM G.3.2: Student's t).
  struct Summary {
    double mean = 0;
    double standard = 0;
    double dof = 0;
    double k() const;
    double expanded() const { return k() * standard; }
  };
  Summary summary() const;

 private:
  struct Part {
    double share, mean, variance;
  };
  std::vector<Part> parts_;
};

// Coverage factor for 95 %: 2 where nothing limits it (GUM 6.3.3, 95.45 %).
double coverage_factor(double dof);

}  // namespace tachproof

// The numbers of a run that a comparison puts side by side, each with its
// expanded uncertainty. NaN where the run has none.
#pragma once

#include <cmath>
#include <limits>
#include <string>

#include "core/gauge/gauge.h"
#include "core/judge/result.h"

namespace tachproof {

struct Measured {
  double value = not_measured;
  double expanded = not_measured;                        // 95 %
  double dof = std::numeric_limits<double>::infinity();  // effective, GUM G.4
  double by_updates = 0;                                 // 95 %, of `expanded`: the unit's updates alone
  bool is_there() const { return std::isfinite(value) && std::isfinite(expanded); }
};

// Of the unit as it was set: where a press has put a boundary is no matter of the settings.
const BoundaryResult* row_of(const RunResult& result, const std::string& boundary, Direction direction);

Measured threshold_of(const BoundaryResult* row);  // rpm; null gives none
Measured response_of(const BoundaryResult* row);   // ms
// Rising less falling, rpm: U is their sum, whatever their correlation (GUM 5.2.2).
Measured deadband_of(const BoundaryResult* rising, const BoundaryResult* falling);
// Of two runs, which are independent; degrees of freedom by Welch and Satterthwaite.
Measured change_of(const Measured& before, const Measured& after);

struct MeasuredBlink {
  Measured hz, duty;
};
// U over so many cycles: an edge is as exact as the bench's stamps (`stamp_s`,
// standard) and as loose as the unit's settle time allows, taken as a rectangle
// (GUM 4.3.7); `clock_ppm` is the bench's clock, standard; k = 2.
MeasuredBlink measured_blink(const BlinkResult& blink, const Tolerance& tolerance, double stamp_s,
                             double clock_ppm);

}  // namespace tachproof

// How large a fault is, by the thresholds, blinks and responses that were measured.
//
// A fault moves thresholds by so much for each unit of its size: numbers of its own, found by
// changing the size a little. A weighted least-squares line through what was measured gives the
// sizes of all faults together, beside an offset that all thresholds share, because a unit that rounds its
// reading has one (GUM, JCGM 100:2008, H.3). Sizes of settings that are whole numbers are
// rounded to one within U.
#pragma once

#include <vector>

#include "core/cause/hypothesis.h"

namespace tachproof {

// A threshold that was measured; `boundary` of the gauge that it is held against.
struct MeasuredThreshold {
  std::size_t boundary = 0;
  Direction direction = Direction::rising;
  double rpm = 0;
  double u = 0;  // standard uncertainty
};
std::vector<MeasuredThreshold> measured_thresholds(const Gauge& gauge, const RunResult& result);

// Chi squared of what was measured against what a unit of this gauge has.
double misfit(const Gauge& gauge, const std::vector<MeasuredThreshold>& measured);
double misfit(const Gauge& gauge, const RunResult& result);  // blinks too
double misfit_of_blinks(const Gauge& gauge, const RunResult& result);

// The size of this fault in `gauge` that fits what was measured best; nothing where that says
// nothing of it. A size that the fault has already is where it begins.
struct FittedSize {
  double size = 0;
  double expanded_uncertainty = 0;
};
std::optional<FittedSize> fitted_size(const Gauge& gauge, Fault fault,
                                      const std::vector<MeasuredThreshold>& measured);

// The expanded uncertainty of a size that no measured threshold says anything of: by the slowest move of the
// lamps that shows it, and by the responses that are allowed. NaN: no move does.
double rough_u(const Gauge& set, const Hypothesis& hypothesis, std::size_t fault,
               const std::vector<Road>& roads);

// The same for every fault of a hypothesis that has been judged: a new one with sizes as measured.
// `set` is the gauge as set.
Hypothesis with_fitted_sizes(const Gauge& set, const Trial& trial);

}  // namespace tachproof

#include "core/compare/compared_numbers.h"

#include <algorithm>

#include "core/base/statistics.h"

namespace tachproof {

const BoundaryResult* row_of(const RunResult& result, const std::string& boundary, Direction direction) {
  for (const BoundaryResult& b : result.boundaries)
    if (b.state.empty() && b.boundary == boundary && b.direction == direction) return &b;
  return nullptr;
}

namespace {

Measured measured(const BoundaryResult* row, double value, double expanded) {
  Measured out{value, expanded};
  if (row->dof > 0) out.dof = row->dof;
  return out;
}

}  // namespace

Measured threshold_of(const BoundaryResult* row) {
  return row == nullptr ? Measured{} : measured(row, row->threshold_rpm, row->expanded_uncertainty_rpm);
}

Measured response_of(const BoundaryResult* row) {
  return row == nullptr ? Measured{} : measured(row, row->response_ms, row->response_uncertainty_ms);
}

Measured deadband_of(const BoundaryResult* rising, const BoundaryResult* falling) {
  const Measured up = threshold_of(rising), down = threshold_of(falling);
  return {up.value - down.value, up.expanded + down.expanded, std::min(up.dof, down.dof)};
}

Measured change_of(const Measured& before, const Measured& after) {
  WelchSatterthwaite both;
  for (const Measured& m : {before, after})
    both.add(m.expanded / student_t(0.95, std::max(m.dof, 1.0)), m.dof);
  return {after.value - before.value, std::hypot(before.expanded, after.expanded), both.dof()};
}

MeasuredBlink measured_blink(const BlinkResult& blink, const Tolerance& tolerance, double stamp_s,
                             double clock_ppm) {
  if (blink.cycles < 1 || !(blink.hz > 0)) return {};
  const double edge_s = std::hypot(stamp_s, to_seconds(tolerance.settle) / std::sqrt(3.0));
  const double length_s = std::sqrt(2.0) * edge_s;
  const double span_s = blink.cycles / blink.hz;
  return {{blink.hz, 2 * blink.hz * std::hypot(length_s / span_s, clock_ppm * 1e-6)},
          {blink.duty, 2 * blink.hz * length_s / std::sqrt(blink.cycles)}};
}

}  // namespace tachproof

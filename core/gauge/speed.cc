#include "core/gauge/speed.h"

#include <cmath>
#include <numbers>

namespace tachproof {

namespace {

// Of a quotient a/b of independent quantities (JCGM 100:2008, 5.1.2).
double quotient_uncertainty(const Quantity& a, const Quantity& b) {
  return std::hypot(a.standard_uncertainty / b.value, a.value * b.standard_uncertainty / (b.value * b.value));
}

}  // namespace

Tyre Tyre::rolled_out(Quantity distance_m, double turns) {
  return {{distance_m.value / turns, distance_m.standard_uncertainty / turns}};
}

Tyre Tyre::of_diameter(Quantity diameter_m, double rolling_factor) {
  const double factor = std::numbers::pi * rolling_factor;
  return {{diameter_m.value * factor, diameter_m.standard_uncertainty * factor}};
}

Quantity rpm_at_speed(Quantity speed_m_per_s, const Gearing& gearing, const Tyre& tyre) {
  const double scale = 60 * gearing.ratio();
  return {scale * speed_m_per_s.value / tyre.circumference_m.value,
          scale * quotient_uncertainty(speed_m_per_s, tyre.circumference_m)};
}

Quantity speed_at_rpm(Quantity rpm, const Gearing& gearing, const Tyre& tyre) {
  const double scale = 1 / (60 * gearing.ratio());
  const Quantity& circumference = tyre.circumference_m;
  return {scale * rpm.value * circumference.value,
          scale * std::hypot(rpm.standard_uncertainty * circumference.value,
                             rpm.value * circumference.standard_uncertainty)};
}

}  // namespace tachproof

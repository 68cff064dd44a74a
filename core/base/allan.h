// Allan deviations of a phase record: how the mean speed over a span differs
// from that over the next, against the length of the span.
//
// W. J. Riley, Handbook of Frequency Stability Analysis, NIST SP 1065 (2008),
// section 5. `phase` is in seconds at equal spacing `spacing_s`; the deviation
// is a share of the mean speed. `m` >= 1 is the span in spacings. NaN where the
// record is too short.
#pragma once

#include <cstddef>
#include <span>

namespace tachproof {

double allan_deviation(std::span<const double> phase, double spacing_s, std::size_t m);
double overlapping_allan_deviation(std::span<const double> phase, double spacing_s, std::size_t m);
double modified_allan_deviation(std::span<const double> phase, double spacing_s, std::size_t m);

// What the overlapping deviation is to be expected at the span t = m spacings,
// for a phase with white noise of jitter_s and a speed that wanders as an
// Ornstein-Uhlenbeck process of relative standard deviation wander_share:
// the root of 3 jitter_s^2 / t^2 + wander_share^2 (tau/t)^2
// (2 t/tau - 3 + 4 exp(-t/tau) - exp(-2 t/tau)).
double expected_allan_deviation(double t_s, double jitter_s, double wander_share, double tau_s);

}  // namespace tachproof

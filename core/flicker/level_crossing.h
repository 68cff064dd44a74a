// How often a trigger with a deadband changes under noise: the closed forms.
//
// A trigger turns on when its reading reaches `upper` and off when it falls
// under `lower`, both in rpm from the mean reading; upper >= lower. A rate is
// that of whole cycles, on and off again: the lamp changes twice in each.
#pragma once

namespace tachproof {

// The imaginary error function, 2/sqrt(pi) times the integral of exp(t^2) from
// 0 to x, by its power series; infinity where a double cannot hold it.
double erfi(double x);

// Independent normal readings of standard deviation `sd` > 0, per reading:
// p q / (p + q), p and q the chances to lie at or above `upper` and under
// `lower`. Exact.
double cycles_of_independent_readings(double lower, double upper, double sd);

// A normal process that is smooth enough to have a slope: up-crossings of
// `level` per second, slope_sd / (2 pi sd) * exp(-level^2 / (2 sd^2)), slope_sd
// in rpm per second. S. O. Rice, Bell Syst. Tech. J. 23 (1944) 282, 24 (1945) 46.
// For deadbands far narrower than `sd` only, and never for an unaveraged AR(1)
// speed: that has no slope.
double rice_up_crossings_per_s(double level, double sd, double slope_sd);

// Normal readings with correlation `r` from one to the next, a trigger without
// a deadband at the mean: cycles per reading, arccos(r) / (2 pi). Exact, whatever
// the other correlations are. B. Kedem, Proc. IEEE 74 (1986) 1477 (from memory).
double cycles_without_deadband(double r);

// Rice's rate for readings, which need no slope: how often one under `level` is
// followed by one at or above it, per reading. Exact for normal readings with
// correlation `r` from one to the next:
//   1/(2 pi) * integral over 0..arccos(r) of exp(-level^2 / (sd^2 (1 + cos a))) da,
// H. Cramer, M. R. Leadbetter, Stationary and Related Stochastic Processes
// (1967), ch. 10 (from memory). A trigger whose threshold or deadband's edge is
// `level` goes through no more cycles than this.
double up_crossings_of_readings(double level, double sd, double r);

// An Ornstein-Uhlenbeck speed watched without pause, per second:
// 1 / (pi tau (erfi(upper / (sd sqrt 2)) - erfi(lower / (sd sqrt 2)))), from
// the mean first passages of A. J. F. Siegert, Phys. Rev. 81 (1951) 617. For
// -b..+b this is 1 / (2 pi tau erfi(b / (sd sqrt 2))). upper > lower.
double cycles_of_ornstein_uhlenbeck(double lower, double upper, double sd, double tau_s);

// The same speed read every `reading_s`, an AR(1) sequence: each threshold is
// met late, by 0.5826 sd sqrt(2 reading_s / tau), as in M. Broadie,
// P. Glasserman, S. Kou, Math. Finance 7 (1997) 325 (from memory). Good within
// 6e-4 for tau >= 20 readings and a deadband of at least sd / 2, within 2e-3
// for tau >= 10 readings.
double cycles_of_sampled_ornstein_uhlenbeck(double lower, double upper, double sd, double tau_s,
                                            double reading_s);

}  // namespace tachproof

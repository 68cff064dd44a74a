// What moved between two runs that were played the same train, from transition
// to transition.
//
// The same demand is met in both runs, so that what both share (the train, the
// bench, the profile's corners, the unit's own response) cancels in the
// difference of the two lags. At rate v of the profile
//
//     lag after - lag before = change of threshold / v + change of response + scatter,
//
// a line over 1/v for each boundary and direction, weighted least squares; a step
// has 1/v = 0. How far the pairs scatter about their lines, all boundaries
// together, is their uncertainty (core/judge/scatter.h), with Student's t for its degrees
// of freedom (GUM G.3, G.4): nothing is assumed of the unit, its updates least.
//
// Where all pairs are at one rate, threshold and response cannot be told apart, and
// no line has anything left to scatter. Then a boundary's two directions are taken
// together: a moved boundary shifts them in opposite senses, so that the sum of both
// lags should be the same at all boundaries. The same where slow pairs are few.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "core/compare/compared_numbers.h"
#include "core/judge/result.h"

namespace tachproof {

// One demand in both runs. `lag_s`: after less before, each from its own nominal
// instant, so that a boundary that was moved on purpose has no lag by that.
struct LagPair {
  std::size_t boundary = 0;
  Direction direction = Direction::rising;
  double rate_rpm_per_s = 0;  // of the profile, signed; 0: a step
  double lag_s = 0;
};

// A row of one run matches one of the other when boundary, direction and order
// agree, and the profile went past at the same rate (to 1 %). `names`: each boundary
// as it is called before and after. Nothing for a transition that either
// run has no row of, or did not see.
struct PairedName {
  std::size_t boundary = 0;
  std::string before, after;
};
std::vector<LagPair> lag_pairs(const RunResult& before, const RunResult& after,
                               const std::vector<PairedName>& names);

struct PairedChange {
  Measured threshold;         // rpm
  Measured response;          // ms
  bool told_apart = false;    // if not: each as if the other had not changed
  double rate_rpm_per_s = 0;  // the only one, where not told apart
  int pairs = 0;
};

struct PairedChanges {
  std::vector<PairedChange> changes;  // [2 * boundary + (falling ? 1 : 0)]; no pairs: nothing is known
  std::array<Measured, 2> response;   // ms, rising and falling: of all boundaries together, where told apart
  std::array<int, 2> response_of = {};  // so many boundaries
  // Where nothing is told apart: ms, of all boundaries and both directions together. A
  // boundary that was moved is not in it; a deadband that changed everywhere is.
  Measured response_both_ways;
  double only_rate_rpm_per_s = 0;
};
// `stamp_s`: standard uncertainty of a lamp's stamp. Without enough pairs to see their
// scatter all numbers are NaN.
// `common_s`: standard, of the lags' differences: what all pairs may share. A unit's
// updates run free of the train, and where its crossings come at the same phase of
// them again and again, pairs differ alike and show no scatter; no number of pairs
// takes that off.
PairedChanges paired_changes(const std::vector<LagPair>& pairs, std::size_t boundaries, double stamp_s,
                             double common_s = 0);

}  // namespace tachproof

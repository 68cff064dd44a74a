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
// of freedom (GUM G.3, G.4): nothing is assumed of the unit.
//
// Its updates are a part of their own, where both runs show their period: then what
// they may shift together is known (core/compare/shared_updates.h), and the rest is what the
// runs state of their own scatter, or what pairs scatter by beside that. A threshold then also comes from the
// boundary's own visits and the response of all boundaries together, whichever is known best beforehand.
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
#include "core/compare/lag_pairs.h"
#include "core/compare/shared_updates.h"

namespace tachproof {

struct PairedChange {
  Measured threshold;         // rpm
  Measured response;          // ms
  bool told_apart = false;    // if not: each as if the other had not changed
  double rate_rpm_per_s = 0;  // the only one, where not told apart
  int pairs = 0;
};

struct PairedChanges {
  std::vector<PairedChange> changes;  // [2 * boundary + (falling ? 1 : 0)]; no pairs: nothing is known
  std::vector<Measured> deadbands;    // [boundary], rpm: rising less falling threshold
  std::array<Measured, 2> response;   // ms, rising and falling: of all boundaries together, where told apart
  std::array<int, 2> response_of = {};  // so many boundaries
  // Where nothing is told apart: ms, of all boundaries and both directions together. A
  // boundary that was moved is not in it; a deadband that changed everywhere is.
  Measured response_both_ways;
  double only_rate_rpm_per_s = 0;
};
// `stamp_s`: standard uncertainty of a lamp's stamp. Without enough pairs to see their
// scatter all numbers are NaN.
// `updates`: where they are not seen, their standard deviation counts in full: all pairs
// may share it, and no number of pairs takes that off.
PairedChanges paired_changes(const std::vector<LagPair>& pairs, std::size_t boundaries, double stamp_s,
                             const UpdatesOfRuns& updates = {});

}  // namespace tachproof

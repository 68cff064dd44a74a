// The judge judged: random gauges, units that differ from them or do not, and
// whether the bench can tell.
//
// A pair is what a unit should be and what it is. It is played and judged end
// to end on the simulated rig, in virtual time, by an acceptance profile that is
// computed from the gauge alone or, for a share of the pairs, by a survey.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/signal/profile.h"
#include "tests/bench/random_gauge.h"

namespace tachproof {

struct Mutation {
  std::string kind;      // of the fault catalogue, or a change of settings
  double magnitude = 0;  // by its tolerance; 0: there is no more and less of it
};

struct MutationPair {
  std::uint64_t number = 0;
  Gauge gauge;                      // what the unit should be
  Gauge runs;                       // the settings it has
  Behaviour behaviour;              // and how it behaves, faults included
  std::vector<Mutation> mutations;  // none: healthy
  double shifted = 0;               // healthy: this share of each tolerance is used up
  bool surveyed = false;
};

// The same for the same seed and number. `alone`: the same pair with each of its mutations only.
MutationPair mutation_pair(std::uint64_t seed, std::uint64_t number,
                           std::vector<MutationPair>* alone = nullptr);
// Adds one fault or one change of settings to the pair, if its gauge has room for it.
void mutate(MutationPair& pair, const std::string& kind, Dice& dice);
const std::vector<std::string>& mutation_kinds();
// Uses up this share of every tolerance, and no more of it.
void shift_within_tolerance(MutationPair& pair, double share, Dice& dice);

// Crosses every boundary both ways at three rates, the slowest so slow that the
// longest response allowed is worth half the tolerance; boundaries that lie too near
// each other to rest between them are crossed in one go. Rests in every
// window that is wide enough, for at least eight blinks where it blinks, and
// jumps over all boundaries three times each way.
std::vector<Step> acceptance_steps(const Gauge& gauge);
double slowest_rate(const Gauge& gauge);  // of acceptance_steps, rpm per second

RunResult judge_pair(const MutationPair& pair);

struct MutationCounts {
  std::uint64_t pairs = 0, wrong = 0, undecided = 0;
  void add(Verdict verdict, Verdict wrong_one);
  void add(const MutationCounts& more);
};

}  // namespace tachproof

// Many pairs judged, on all processors, and what that says: counts by kind and by
// magnitude, the same for the same seed whatever the number of threads.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "tests/bench/mutation.h"

namespace tachproof {

// Bounds of the magnitudes by which kinds with more and less of it are counted, in
// multiples of a tolerance; the last bin has no end.
inline constexpr std::array<double, 7> magnitude_bins{1.05, 1.2, 1.5, 2, 4, 8, 16};

struct WrongPair {
  std::uint64_t number = 0;
  std::string what;  // the pair in words
  bool escape = false;
};

struct MutationStudy {
  std::map<std::string, MutationCounts> healthy;  // "as set", "0.50 to 0.65 of tolerance", ...
  std::map<std::string, MutationCounts> faults;   // by kind; two at once are a kind of their own
  std::array<MutationCounts, magnitude_bins.size()> bins;
  MutationCounts all_healthy, all_faulty;
  MutationCounts surveyed_healthy, surveyed_faulty;  // of those
  std::vector<WrongPair> wrong;                      // by number

  void add(const MutationStudy& more);
};

// Pairs 1..count of this seed.
MutationStudy study_mutations(std::uint64_t count, std::uint64_t seed, unsigned threads);

std::string describe(const MutationPair& pair);

}  // namespace tachproof

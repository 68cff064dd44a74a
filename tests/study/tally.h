// Counts and their tables.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "core/judge/result.h"
#include "tests/study/pair.h"

namespace tachproof::study {

struct Counts {
  std::array<std::uint64_t, 3> by_verdict{};  // pass, fail, undecided
  std::uint64_t all() const { return by_verdict[0] + by_verdict[1] + by_verdict[2]; }
  void add(Verdict v) { ++by_verdict[static_cast<std::size_t>(v)]; }
  void add(const Counts& c) {
    for (std::size_t i = 0; i < 3; ++i) by_verdict[i] += c.by_verdict[i];
  }
};

struct Intervals {
  std::uint64_t rows = 0, hold = 0;
};

struct Wrong {
  std::uint64_t number = 0;
  Verdict verdict = Verdict::undecided;
  std::string pair, said;
};

struct Tally {
  using Table = std::map<std::string, Counts>;
  Table sound_by_unit, sound_by_road, sound_by_signal, sound_by_door, sound_by_share;
  Table unsound_by_fault, unsound_by_road, unsound_by_signal, unsound_by_unit, unsound_by_door,
      unsound_by_magnitude;
  Counts sound, unsound;
  std::map<std::string, Intervals> intervals;
  std::vector<Wrong> wrong;  // unsound that passed, sound that failed; the program and the library at odds
  std::uint64_t by_program = 0;

  void add(const Pair& pair, const RunResult& result);
  void add(const Tally& more);
  std::string markdown() const;
};

// The 95 % limits of Clopper and Pearson, Biometrika 26 (1934) 404.
struct Limits {
  double low = 0, high = 1;
};
Limits clopper_pearson(std::uint64_t k, std::uint64_t n);

// Verdict, findings, rows.
std::string said(const RunResult& result, bool whole);

}  // namespace tachproof::study

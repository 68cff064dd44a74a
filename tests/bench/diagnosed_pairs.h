// Random gauges with faulty units, played, judged and diagnosed: is the true cause named?
//
// A cause is the true one when its unit shows the same as the true unit at every rpm (thresholds
// within a quarter of the tolerance, at least 1 rpm), or when it has the same kind at the same place. Of
// a reading, a spell or a loose lamp the kind counts, and the lamp; of two faults, both.
//
// Of two faults one may leave no trace: what it changes is where no lamp can show it beside the other.
// The oracle says so (mutation_oracle.h), from the settings: the unit, held against a gauge that has the
// other fault's settings, is inside every tolerance. Of a reading, a spell or a loose lamp it never does.
// Another may have a trace, but no finding of its own: the evidence, judged against a gauge that has the
// other fault's settings, does not fail. What has no finding cannot be proven by the findings that are gone.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "core/cause/diagnosis.h"
#include "tests/bench/mutation.h"

namespace tachproof {

// Plays a unit and keeps what the judge is told.
struct PlayedUnit {
  RunResult result;
  EvidenceLog evidence;
};
PlayedUnit played_unit(const Gauge& gauge, const Gauge& runs, const Behaviour& behaviour,
                       const std::vector<Step>& steps, std::uint64_t seed = 1);

struct DiagnosedPair {
  MutationPair pair;
  RunResult result;
  Verdict verdict = Verdict::undecided;
  Diagnosis diagnosis;
  bool first = false, listed = false;    // the true cause
  bool traceless = false;                // one of two faults leaves no trace
  bool shadowed = false;                 // one of two has no finding of its own
  double cpu_s = 0;                      // of the diagnosis
  bool sized = false, within_u = false;  // of one moved boundary, anchor, deadband or ratio: its size
};
DiagnosedPair diagnosed_pair(std::uint64_t seed, std::uint64_t number);
// `alone`: of two faults the unit with each of them only; of one, nothing.
DiagnosedPair diagnosed_unit(MutationPair pair, const std::vector<MutationPair>& alone,
                             const std::vector<Step>& steps);

// What the study keeps of a pair.
struct NamedLine {
  std::uint64_t seed = 0, number = 0;
  std::vector<std::string> kinds;  // none: healthy
  Verdict verdict = Verdict::undecided;
  bool first = false, listed = false, traceless = false, sized = false, within_u = false;
  bool whole = false;  // the first cause explains everything
  bool shadowed = false;
  std::size_t causes = 0;  // how many are named
  double cpu_s = 0;
  std::string said;
};
NamedLine line_of(std::uint64_t seed, const DiagnosedPair& pair);
// One line with tabs and its end, and back; nothing for what is no such line.
std::string text_of(const NamedLine& line);
std::optional<NamedLine> named_line(const std::string& text);

struct NamedCounts {
  std::uint64_t failed = 0, first = 0, listed = 0, explained = 0;
};
struct NamedStudy {
  std::map<std::string, NamedCounts> kinds;  // of single faults
  // traced: doubles of which both leave a trace; found: and both have findings of their own.
  NamedCounts singles, doubles, traced, found;
  std::uint64_t sized = 0, within_u = 0;
  std::uint64_t healthy = 0, healthy_with_cause = 0;
  double cpu_s = 0, longest_s = 0;
  std::vector<std::string> misses;

  void add(const NamedLine& line);
};
NamedStudy study_diagnoses(std::uint64_t count, std::uint64_t seed, std::uint64_t first = 1);
std::string said(const DiagnosedPair& pair);  // what was wrong, and what was named

}  // namespace tachproof

// What lists of runs and of units show, and what they are asked for.
#pragma once

#include <cstddef>
#include <string>

#include "core/judge/result.h"

namespace tachproof {

// Empty: any.
struct RunListFilter {
  std::string unit, gauge, scenario;
  std::string verdict;  // "pass", "fail", "undecided"
  std::string since;    // YYYY-MM-DD, by the bench's own calendar
  std::string find;     // somewhere in the serial number, the gauge, the scenario or the folder's own name
  std::string beneath;  // an absolute folder: only runs somewhere in it
  bool any() const;     // apart from `beneath`
};

struct ListedRun {
  std::string folder;   // absolute, where it was when it was added
  std::string started;  // ISO 8601 with offset
  std::string unit, gauge, scenario;
  Verdict verdict = Verdict::undecided;  // a run that did not get to its end is undecided at best
  bool simulated = false;
  std::string cause;            // the first, a sentence without its full stop; "" where none is known
  std::size_t more_causes = 0;  // that its evidence does not tell from the first
};

// `find` is looked for in the serial number.
struct UnitListFilter {
  std::string gauge, find;
  bool simulated = false;  // those in software in place of the real ones
};

// All runs of one serial number, and the last of them. A unit in software is another, whatever its number.
struct ListedUnit {
  std::string unit;
  bool simulated = false;
  std::size_t runs = 0;
  ListedRun last;
  std::string last_day;  // YYYY-MM-DD
};

struct MeasuredFilter {
  std::string unit, gauge, since;
  bool simulated = false;
};

}  // namespace tachproof

// The history as lists that a person pages through: only the columns that a list shows, however many runs
// there are.
//
// Reads only, beside benches that write. Failures are std::runtime_error with a sentence.
#pragma once

#include <cstddef>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "bench/history/history.h"
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

// All runs of one serial number, and the last of them. A unit in software is another, whatever its number.
struct ListedUnit {
  std::string unit;
  bool simulated = false;
  std::size_t runs = 0;
  ListedRun last;
  std::string last_day;  // YYYY-MM-DD
};

class RunList {
 public:
  explicit RunList(const std::filesystem::path& file);
  ~RunList();
  RunList(RunList&&) noexcept;

  std::size_t count(const RunListFilter& filter) const;
  std::vector<ListedRun> runs(const RunListFilter& filter, std::size_t most, std::size_t after) const;
  // Of all runs beneath this folder.
  std::vector<std::string> folders(const std::string& beneath) const;
  std::vector<std::string> gauges() const;
  std::vector<std::string> scenarios() const;

  // Who was tested last comes first; runs without a serial number are of no unit. `find` is looked for in
  // the serial number.
  struct UnitFilter {
    std::string gauge, find;
    bool simulated = false;  // those in software in place of the real ones
  };
  std::size_t count(const UnitFilter& filter) const;
  std::vector<ListedUnit> units(const UnitFilter& filter, std::size_t most, std::size_t after) const;

  // Complete runs with what a drift is drawn from, oldest first; of more than `most` the newest. Nothing else
  // of them is read.
  struct MeasuredFilter {
    std::string unit, gauge, since;
    bool simulated = false;
  };
  std::vector<HistoryRun> measured(const MeasuredFilter& filter, std::size_t most) const;

 private:
  class Reader;
  std::unique_ptr<Reader> reader_;
};

}  // namespace tachproof

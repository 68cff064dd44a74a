// How good a test is: every fault of the gauge's list tried on it (fault simulation), which
// of them it catches, and how small a shift of each boundary it notices.
//
// Several scenarios are graded together: a fault is caught when one of them catches it. The same on
// any number of threads.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "bench/run/escapes.h"
#include "bench/run/fault_trials.h"
#include "core/cause/fault_list.h"
#include "core/gauge/gauge.h"

namespace tachproof {

struct GradeAsk {
  std::vector<TrialScenario> scenarios;
  RigModel rig;
  std::vector<std::pair<std::string, Gauge>> among;  // gauge files whose settings the unit may have; names
  bool sizes = true;                                 // look for the smallest that is caught
  unsigned threads = 0;                              // 0: as many as there are processors
  int shard = 1, shards = 1;                         // every fault is in exactly one
  std::function<void()> between;  // called before each fault, by any thread; what it throws ends the grade
};

struct GradedFault {
  ListedFault listed;
  Verdict verdict = Verdict::undecided;  // fail: caught; pass: it escapes
  std::string scenario;                  // that caught it
  Nanos at = 0;                          // when that was seen first
  Why why;                               // not caught
  double smallest = not_measured;        // size that is caught, in unit_of(kind)
};

struct GradedScenario {
  std::string name;
  Nanos lasts = 0;
  Verdict sound = Verdict::pass;  // what a unit without a fault gets
  std::string why;                // not a pass: a clause
};

// The smallest shift of a boundary that is noticed, a whole boundary up or down.
struct NoticedShift {
  std::size_t boundary = 0;
  bool up = false;
  double rpm = not_measured;  // NaN: none that was tried
};

struct Grade {
  Gauge gauge;
  std::string rig;
  std::vector<GradedScenario> scenarios;
  std::vector<GradedFault> faults;  // of this shard, in the list's order
  std::vector<LeftOutFault> left_out;
  std::vector<NoticedShift> shifts;  // of the boundaries of this shard
  int shard = 1, shards = 1;

  std::size_t count(Verdict verdict) const;
  Nanos bench_time() const;
};

Grade grade(const Gauge& gauge, const GradeAsk& ask);

// One scenario, sizes as listed: the places in `list` of those that are not caught, at most
// `most` of them. `first`: that are tried before the others. `between`: as of a grade.
std::vector<std::size_t> not_caught(const FaultTrials& trials, const FaultList& list, std::size_t most,
                                    const std::vector<std::size_t>& first = {}, unsigned threads = 0,
                                    const std::function<void()>& between = {});

}  // namespace tachproof

// The shortest scenario that catches a gauge's whole fault list and proves each threshold: a careful
// profile (core/plan/proof.h), shortened as long as sound units pass and no fault escapes.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "bench/run/grade.h"
#include "core/plan/proof.h"

namespace tachproof {

struct PlanAsk {
  RigModel rig;
  double within_rpm = 0;  // above 0: the expanded uncertainty that is wanted of every threshold
  unsigned threads = 0;
  int most_trials = 24;           // of shorter profiles; 0: the careful one stays as it is
  std::function<void()> between;  // called before each simulated unit, by any thread; what it throws ends it
};

struct Plan {
  std::vector<ProofPart> parts;
  TrialScenario scenario;
  Grade grade;  // of it, without the smallest sizes
  bool sound_units_pass = false;
  std::string why;          // they do not: a clause
  Nanos careful_lasts = 0;  // before it was shortened
  int trials = 0;
};

// Throws std::invalid_argument for a gauge without boundaries.
Plan plan_scenario(const Gauge& gauge, const PlanAsk& ask);

// As a scenario file, with comments.
std::string plan_yaml(const Plan& plan);

}  // namespace tachproof

// A scenario played once, and heard by one simulated unit after another: a sound one, and
// one with each fault. Virtual time, no files; the same inputs give the same results.
//
// Const calls may come from several threads.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/run/rig_model.h"
#include "core/cause/fault.h"
#include "core/judge/expectation.h"
#include "core/judge/result.h"
#include "core/signal/noise.h"
#include "core/signal/profile.h"

namespace tachproof {

struct TrialScenario {
  std::string name;
  Profile profile;
  Noise noise;
  std::uint64_t seed = 0;
  JudgeWhat what;
};

// How the simulated unit is given the fault: by its catalogue; nothing for a kind that it does not
// have: then the unit runs with_fault(gauge, fault).
std::optional<FaultSetting> setting_of(const Fault& fault, const Gauge& gauge);

class FaultTrials {
 public:
  FaultTrials(const Gauge& gauge, TrialScenario scenario, RigModel rig);

  RunResult healthy() const { return healthy(rig_.behaviour); }
  RunResult healthy(const Behaviour& behaviour) const;
  // `other`: what the unit runs when the fault is settings_of. A freeze or a reset
  // without an instant has none in this scenario: placed() gives it.
  RunResult with(const Fault& fault, const Gauge* other = nullptr) const;

  // A freeze gets the instant at which its window has first been shown, a reset the middle of the
  // longest time for which it is. Nothing: the scenario never shows the window. Other faults stay.
  std::optional<Fault> placed(const Fault& fault) const;

  const TrialScenario& scenario() const { return scenario_; }
  const ExpectedRun& expected() const { return expected_; }
  // The longest time for which the unit must show this window; 0: never.
  Nanos shown_for(std::size_t window) const;

 private:
  struct Stay {
    Nanos from = 0, to = 0;
  };
  void make_pulses();
  std::vector<Stay> stays_in(std::size_t window) const;
  RunResult judge(const Gauge& unit, const Behaviour& behaviour, bool hears = true) const;

  Gauge gauge_;
  TrialScenario scenario_;
  RigModel rig_;
  JudgeSetup setup_;
  ExpectedRun expected_;
  std::vector<Nanos> pulses_;
  std::vector<std::pair<Nanos, Nanos>> disturbed_;  // from, to
};

// When it was first seen that the unit is wrong; nothing: no finding and no transition
// of this run says so.
std::optional<Nanos> first_fail_at(const RunResult& result);

}  // namespace tachproof

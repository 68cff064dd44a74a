// Bench seconds of a dwell of nine boundaries, beside those that Wald's
// sequential test needs on average for its decisions. What that sum is, is in
// tests/benchmarks/DWELL.md.
#include <fmt/format.h>

#include <cmath>

#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/run/dwell_run.h"
#include "tests/bench/dwell_units.h"
#include "tests/bench/scratch_folder.h"

namespace {

using namespace tachproof;

constexpr Nanos longest = 30 * 60 * ns_per_s;

struct Case {
  const char* what;
  double limit_per_min;
  double deadband_rpm;
  double own_noise_rpm;
  bool to_the_end;
};

void measure(const Case& c) {
  const ScratchFolder scratch;
  const Gauge gauge = nine_lamps(c.deadband_rpm);
  Behaviour behaviour;
  behaviour.response_ms = 25;
  behaviour.averaging_pulses = 2;
  if (c.own_noise_rpm > 0) behaviour.faults = {{"noisy-reading", {}, {{"rpm", c.own_noise_rpm}}}};
  Noise noise;
  noise.jitter_us = 5;
  noise.wander_rpm = 1;
  noise.wander_s = 0.8;
  double wald = 0, all = 0, held = 0, rows = 0;
  std::string verdict;
  constexpr int runs = 5;
  for (std::uint64_t seed = 1; seed <= runs; ++seed) {
    RunRecord record;
    record.gauge = gauge;
    RunFolder folder = RunFolder::create(scratch / std::to_string(seed), record);
    Rig rig = simulated_rig(gauge, behaviour, gauge, seed);
    const Dwell dwell{c.limit_per_min, 0.95, longest};
    const DwellPlan plan{gauge, noise, seed, dwell, unit_reading(gauge, behaviour), c.to_the_end};
    const RunResult result = run_dwell(plan, rig, folder).result;
    all += to_seconds(result.duration);
    rows += static_cast<double>(result.flicker.size());
    verdict = word(result.verdict);
    for (const FlickerResult& row : result.flicker) {
      // Between the tests no time is expected to decide.
      const double needed = 60 * dwell.test(1).expected_min(row.rate_per_min / 2);
      wald += std::min(needed, to_seconds(longest));
      held += row.duration_s;
    }
  }
  fmt::print("| {} | {} | {} | {:.1f} | {:.1f} | {:.1f} | {:.1f} | {:.2f} |\n", c.what, c.limit_per_min,
             verdict, rows / runs, wald / runs, held / runs, all / runs, all / wald);
}

}  // namespace

int main() {
  fmt::print(
      "| unit | limit, per min | verdict | boundaries | Wald, s | held, s | bench, s | bench by Wald |\n"
      "| --- | --- | --- | --- | --- | --- | --- | --- |\n");
  for (const Case& c :
       {Case{"quiet", 1, 40, 0, false}, Case{"quiet", 2, 40, 0, false}, Case{"quiet", 6, 40, 0, false},
        Case{"quiet", 60, 40, 0, false}, Case{"deadband 14 rpm", 1, 14, 0, false},
        Case{"deadband 12 rpm", 1, 12, 0, false}, Case{"deadband 10 rpm", 1, 10, 0, false},
        Case{"deadband 8 rpm", 1, 8, 0, false}, Case{"deadband 6 rpm, to the end", 1, 6, 0, true},
        Case{"deadband 4 rpm, to the end", 1, 4, 0, true}, Case{"own noise of 6 rpm", 1, 14, 6, false},
        Case{"own noise of 20 rpm", 1, 12, 20, false},
        Case{"own noise of 20 rpm, to the end", 1, 12, 20, true}})
    measure(c);
}

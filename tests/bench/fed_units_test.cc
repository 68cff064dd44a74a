// Random gauges that say what a unit may be fed, and simulated units of them: a healthy one never fails, and
// one whose supply does wrong never passes. TACHPROOF_UNITS sets how many of each.
#include <gtest/gtest.h>

#include <cstdio>
#include <map>

#include "core/cause/fault_list.h"
#include "core/plan/button_proof.h"
#include "tests/bench/drawn_units.h"

namespace tachproof {
namespace {

using test::Drawn, test::pass, test::run_drawn, test::told_of, test::units;

Gauge fed_gauge_of(Drawn& drawn) {
  Gauge gauge = drawn.gauge();
  const double lowest_v = drawn.whole(6, 10);
  gauge.supply = SupplyRange{lowest_v, lowest_v + drawn.whole(4, 20)};
  return gauge;
}

double usual_v(const Gauge& gauge) { return (gauge.supply->lowest_v + gauge.supply->highest_v) / 2; }

Behaviour fed_behaviour(const Gauge& gauge, Drawn& drawn) {
  Behaviour behaviour = drawn.behaviour(gauge);
  behaviour.lowest_v = drawn.between(0.4, 0.99) * gauge.supply->lowest_v;
  behaviour.holds_ms = drawn.between(0, 150);
  return behaviour;
}

// The boundaries at three voltages, set at once or by a ramp; dips, short and long, from which it comes back.
Profile fed_drive(const Gauge& gauge, Drawn& drawn) {
  std::vector<Step> steps{Supply{usual_v(gauge), usual_v(gauge), 100 * ns_per_ms}};
  const double low = gauge.windows[1].from_rpm - 80, lit = gauge.windows.back().from_rpm + 50;
  const auto settle = [&] {
    steps.insert(steps.end(), {RampByTime{low, ns_per_s}, Hold{low, 600 * ns_per_ms}});
  };
  settle();
  pass(steps, gauge);
  double volts = usual_v(gauge);
  const auto fed = [&](double to_v) {
    const Nanos lasts = static_cast<Nanos>(drawn.whole(100, 2500)) * ns_per_ms;
    steps.push_back(drawn.chance(0.5) ? Supply{volts, to_v, lasts} : Supply{to_v, to_v, lasts});
    volts = to_v;
  };
  for (const double to_v : {gauge.supply->lowest_v, gauge.supply->highest_v}) {
    fed(to_v);
    steps.push_back(Hold{low, 600 * ns_per_ms});
    pass(steps, gauge);
  }
  fed(usual_v(gauge));
  steps.insert(steps.end(), {RampByTime{lit, ns_per_s}, Hold{lit, ns_per_s}});
  for (int dips = 0; dips < 3; ++dips) {
    const double to_v = drawn.between(0.05, 0.95) * gauge.supply->lowest_v;
    const Nanos lasts = static_cast<Nanos>(drawn.chance(0.5) ? drawn.whole(20, 200) : drawn.whole(200, 3000));
    steps.push_back(Supply{to_v, to_v, lasts * ns_per_ms});
    steps.push_back(Supply{volts, volts, 100 * ns_per_ms});
    steps.push_back(Hold{lit, 5 * ns_per_s});
  }
  // The surest: nearly nothing, for long.
  steps.push_back(Supply{0.3, 0.3, 2 * ns_per_s});
  steps.push_back(Supply{volts, volts, 100 * ns_per_ms});
  steps.push_back(Hold{lit, 5 * ns_per_s});
  settle();
  pass(steps, gauge);
  return Profile(steps);
}

std::vector<FaultSetting> fed_faults(const Gauge& gauge, std::uint64_t seed) {
  Drawn drawn(seed + 1'000'000);
  const double furthest_v = gauge.supply->highest_v - usual_v(gauge);
  const double drift_rpm = drawn.between(3, 20) * gauge.tolerance.rpm;
  return {{"supply-drift",
           {},
           {{"rpm_per_v", (drawn.chance(0.5) ? 1 : -1) * drift_rpm / furthest_v}, {"at_v", usual_v(gauge)}}},
          {"brown-out", {}, {{"at_v", gauge.supply->lowest_v + drawn.between(0.05, 0.9) * furthest_v}}},
          {"no-return", {}, {}}};
}

TEST(FedUnits, AHealthyOneNeverFails) {
  std::size_t passed = 0;
  for (std::uint64_t seed = 1; seed <= units(); ++seed) {
    Drawn drawn(seed);
    const Gauge gauge = fed_gauge_of(drawn);
    ASSERT_TRUE(problems_of(gauge).empty()) << problems_of(gauge)[0].path;
    const Behaviour behaviour = fed_behaviour(gauge, drawn);
    const RunResult result = run_drawn(gauge, behaviour, fed_drive(gauge, drawn), seed);
    EXPECT_NE(result.verdict, Verdict::fail) << "seed " << seed << "\n" << told_of(result);
    passed += result.verdict == Verdict::pass;
    if (std::getenv("TACHPROOF_TELL") != nullptr && result.verdict != Verdict::pass)
      std::printf("seed %llu\n%s", static_cast<unsigned long long>(seed), told_of(result).c_str());
  }
  if (std::getenv("TACHPROOF_TELL") != nullptr) std::printf("%zu of %zu passed\n", passed, units());
  EXPECT_GE(passed * 10, units() * 9);
}

TEST(FedUnits, OneWhoseSupplyDoesWrongNeverPasses) {
  std::map<std::string, std::map<Verdict, int>> counts;
  for (std::uint64_t seed = 1; seed <= units(); ++seed)
    for (std::size_t i = 0; i < 3; ++i) {
      Drawn drawn(seed);
      const Gauge gauge = fed_gauge_of(drawn);
      Behaviour behaviour = fed_behaviour(gauge, drawn);
      const FaultSetting fault = fed_faults(gauge, seed)[i];
      behaviour.faults = {fault};
      const RunResult result = run_drawn(gauge, behaviour, fed_drive(gauge, drawn), seed);
      EXPECT_NE(result.verdict, Verdict::pass) << "seed " << seed << " " << fault.kind;
      ++counts[fault.kind][result.verdict];
    }
  EXPECT_EQ(counts.size(), 3U);
  if (std::getenv("TACHPROOF_TELL") == nullptr) return;
  for (auto& [kind, count] : counts)
    std::printf("| %s | %d | %d | %d |\n", kind.c_str(), count[Verdict::fail], count[Verdict::undecided],
                count[Verdict::pass]);
}

}  // namespace
}  // namespace tachproof

#include "tests/bench/survey_units.h"

#include <algorithm>
#include <boost/math/distributions/beta.hpp>
#include <cmath>
#include <thread>
#include <vector>

#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/run/survey_run.h"
#include "core/base/random.h"
#include "tests/bench/drumlin_run.h"

namespace tachproof {

Gauge flashing_ladder(double hz, double duty) {
  Gauge gauge;
  gauge.name = "Two-lamp ladder";
  gauge.pulses_per_rev = 3;
  gauge.lamps = {{"near", {"cyan"}}, {"far", {"cyan"}}};
  const Channels near = 1, far = 2;
  gauge.windows = {{"off", 0, {}},
                   {"one", 3000, {near, 0}},
                   {"both", 3150, {near | far, 0}},
                   {"flash", 3300, {0, near | far}},
                   {"rest", 3900, {}},
                   {"warn", 5200, {0, far}},
                   {"end", 5600, {far, 0}}};
  gauge.deadband = {7, Sits::below};
  gauge.blink = Blink{hz, duty};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 100 * ns_per_ms;
  gauge.tolerance.blink_hz = hz / 10;
  return gauge;
}

double RandomUnit::changes_at(std::size_t boundary, Direction direction) const {
  const double set = direction == Direction::rising ? runs.rising_rpm(boundary) : runs.falling_rpm(boundary);
  const double step = *behaviour.resolution_rpm;
  return step > 0 ? (std::ceil(set / step - 1e-9) - 0.5) * step : set;
}

RandomUnit random_unit(std::uint64_t number, const UnitDraw& draw) {
  Random random(number, 77);
  const auto between = [&](double low, double high) { return low + (high - low) * random.uniform(); };
  RandomUnit unit;
  unit.runs = drumlin::gauge();
  for (std::size_t w = 1; w < unit.runs.windows.size(); ++w)
    unit.runs.windows[w].from_rpm += between(-draw.off_rpm, draw.off_rpm);
  unit.runs.deadband.rpm += between(-0.4 * draw.off_rpm, 0.4 * draw.off_rpm);
  constexpr double steps[] = {0, 0.1, 0.5, 1, 2};
  unit.behaviour.resolution_rpm = steps[static_cast<std::size_t>(random.uniform() * 5)];
  unit.behaviour.response_ms = between(2, 40);
  unit.behaviour.averaging_pulses = 1 + std::floor(between(0, 6));
  unit.behaviour.update_hz = between(80, 400);
  unit.behaviour.timer_hz = between(2e6, 16e6);
  const double drawn = between(-0.5, 0.5);  // half of them have none
  const double noise = draw.noise_rpm.value_or(drawn);
  if (noise > 0) {
    FaultSetting fault;
    fault.kind = "noisy-reading";
    fault.numbers = {{"rpm", noise}};
    unit.behaviour.faults = {fault};
  }
  if (draw.off_rpm < 5 && number % 2 == 1) {
    const double windows = static_cast<double>(unit.runs.windows.size());
    Window& moved = unit.runs.windows[static_cast<std::size_t>(between(1, windows))];
    moved.from_rpm += between(2, 8) * (between(0, 1) < 0.5 ? -1 : 1);
  }
  return unit;
}

void HonestyCount::add(const HonestyCount& more) {
  units += more.units;
  undecided += more.undecided;
  intervals += more.intervals;
  inside += more.inside;
  within += more.within;
  outside_rows += more.outside_rows;
  false_passes += more.false_passes;
  units_outside += more.units_outside;
  units_passed += more.units_passed;
  false_fails += more.false_fails;
  good_rows += more.good_rows;
  bench_s += more.bench_s;
  longest_s = std::max(longest_s, more.longest_s);
  sum_u_rpm += more.sum_u_rpm;
}

void with_simulated_rig(const RandomUnit& unit, std::uint64_t number,
                        const std::function<void(Rig&)>& survey) {
  Rig rig = simulated_rig(unit.runs, unit.behaviour, drumlin::gauge(), number);
  survey(rig);
}

HonestyCount survey_random_units(std::uint64_t first, std::uint64_t count, double within_rpm,
                                 const WithRig& with_rig, const UnitDraw& draw) {
  HonestyCount all;
  const Gauge gauge = drumlin::gauge();
  for (std::uint64_t number = first; number < first + count; ++number) {
    const RandomUnit unit = random_unit(number, draw);
    RunResult result;
    with_rig(unit, number, [&](Rig& rig) {
      const SurveySetup setup = survey_setup_of(rig, within_rpm);
      SurveyPlanner planner(gauge, setup);
      const SurveyEvidence evidence = play_survey([&](const SurveyView& view) { return planner.next(view); },
                                                  gauge.pulses_per_rev, rig, nullptr);
      result = judge_evidence(gauge, setup.judge, evidence, nullptr);
    });
    bool outside = false;
    for (std::size_t b = 1; b <= gauge.boundaries(); ++b)
      for (const Direction d : {Direction::rising, Direction::falling}) {
        const double truth = unit.changes_at(b, d);
        const double nominal = d == Direction::rising ? gauge.rising_rpm(b) : gauge.falling_rpm(b);
        const bool out = std::abs(truth - nominal) > gauge.tolerance.rpm;
        outside = outside || out;
        const auto row = std::find_if(result.boundaries.begin(), result.boundaries.end(), [&](const auto& r) {
          return r.boundary == gauge.windows[b].name && r.direction == d;
        });
        if (row == result.boundaries.end() || row->visits == 0) continue;
        ++all.intervals;
        const double u = row->expanded_uncertainty_rpm;
        if (std::abs(row->threshold_rpm - truth) <= u) ++all.inside;
        if (u <= within_rpm) ++all.within;
        all.sum_u_rpm += u;
        ++(out ? all.outside_rows : all.good_rows);
        if (out && row->verdict == Verdict::pass) ++all.false_passes;
        if (!out && row->verdict == Verdict::fail) ++all.false_fails;
      }
    ++all.units;
    if (outside) ++all.units_outside;
    if (outside && result.verdict == Verdict::pass) ++all.units_passed;
    if (result.verdict == Verdict::undecided) ++all.undecided;
    all.bench_s += to_seconds(result.duration);
    all.longest_s = std::max(all.longest_s, to_seconds(result.duration));
  }
  return all;
}

HonestyCount survey_many_units(std::uint64_t first, std::uint64_t count, double within_rpm,
                               const WithRig& with_rig, const UnitDraw& draw) {
  const std::uint64_t threads = std::max(1u, std::thread::hardware_concurrency());
  std::vector<HonestyCount> counts(threads);
  std::vector<std::thread> workers;
  for (std::uint64_t t = 0; t < threads; ++t)
    workers.emplace_back([&, t] {
      const std::uint64_t from = count * t / threads, to = count * (t + 1) / threads;
      counts[t] = survey_random_units(first + from, to - from, within_rpm, with_rig, draw);
    });
  for (std::thread& worker : workers) worker.join();
  HonestyCount all;
  for (const HonestyCount& one : counts) all.add(one);
  return all;
}

Limits clopper_pearson(std::uint64_t hits, std::uint64_t of, double coverage) {
  const double k = static_cast<double>(hits), n = static_cast<double>(of), p = (1 - coverage) / 2;
  Limits limits;
  if (hits > 0) limits.low = boost::math::quantile(boost::math::beta_distribution<>(k, n - k + 1), p);
  if (hits < of) limits.high = boost::math::quantile(boost::math::beta_distribution<>(k + 1, n - k), 1 - p);
  return limits;
}

}  // namespace tachproof

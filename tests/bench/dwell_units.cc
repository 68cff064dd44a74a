#include "tests/bench/dwell_units.h"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <limits>
#include <numbers>
#include <thread>

#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/run/dwell_run.h"
#include "bench/run/flicker_study.h"
#include "core/base/random.h"
#include "core/flicker/flicker.h"
#include "core/signal/pulse_train.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/survey_units.h"

namespace tachproof {
namespace {

constexpr double boundary_rpm = 3600;

// The deadband that makes so many lamp changes a minute, between the two
// simulated widths next to it.
double width_for(double changes_per_min, const Noise& noise, const UnitReading& reading, std::uint64_t seed) {
  FlickerSetup setup;
  setup.noise = noise;
  setup.pulses_per_rev = dwelled_gauge().pulses_per_rev;
  setup.unit = reading;
  setup.places_rpm = {boundary_rpm};
  setup.step_rpm = 0.25;
  setup.reach_rpm = 1;
  setup.seed = seed;
  setup.steps = 1 << 14;
  const FlickerTally tally = simulate_flicker(setup, 1);
  const auto rate = [&](std::size_t width) { return tally.held(0, width, 0).changes_per_min(); };
  std::size_t width = 1;
  while (width + 1 < setup.widths() && rate(width) > changes_per_min) ++width;
  const double wider = std::log(std::max(rate(width), 0.1)), narrower = std::log(rate(width - 1));
  const double share = (narrower - std::log(changes_per_min)) / std::max(narrower - wider, 1e-9);
  return setup.width_rpm(width - 1) + std::clamp(share, 0.0, 1.0) * setup.step_rpm;
}

CertifiedUnit certify(std::uint64_t number, double reference_min) {
  const ScratchFolder scratch;
  const Gauge gauge = dwelled_gauge();
  const DwellUnit unit = dwell_unit(number);
  RunRecord record;
  record.gauge = gauge;
  RunFolder folder = RunFolder::create(scratch / "run", record);
  Rig rig = simulated_rig(unit.runs, unit.behaviour, gauge, number);
  const DwellPlan plan{gauge, unit.noise, number, asked_dwell(), unit_reading(gauge, unit.behaviour)};
  const RunResult result = run_dwell(plan, rig, folder).result;

  // Noise that the dwell has not seen.
  const double limit = plan.dwell.limit_per_min;
  const double middle = (unit.runs.rising_rpm(1) + unit.runs.falling_rpm(1)) / 2;
  CertifiedUnit certified;
  certified.verdict = result.verdict;
  certified.worst_rate = long_count(unit, middle, reference_min, ~number).per_min / limit;
  if (result.flicker.empty()) return certified;
  const FlickerResult& row = result.flicker[0];
  certified.held_s = row.duration_s;
  certified.off_rpm = row.mean_rpm - middle;
  const LongCount held = long_count(unit, row.mean_rpm, reference_min, ~number);
  certified.held_rate = held.per_min / limit;
  certified.dispersion = held.dispersion;
  return certified;
}

}  // namespace

Gauge dwelled_gauge() {
  Gauge gauge;
  gauge.name = "one lamp";
  gauge.pulses_per_rev = 3;
  gauge.lamps = {{"near", {"white"}}};
  gauge.windows = {{"calm", 0, {}}, {"brisk", boundary_rpm, {1}}};
  gauge.deadband = {15, Sits::below};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 120 * ns_per_ms;
  return gauge;
}

Gauge nine_lamps(double deadband) {
  Gauge gauge;
  gauge.name = "nine lamps";
  gauge.pulses_per_rev = 2;
  gauge.windows = {{"w0", 0, {}}};
  for (int i = 1; i <= 9; ++i) {
    gauge.lamps.push_back({"l" + std::to_string(i), {"white"}});
    gauge.windows.push_back({"w" + std::to_string(i), 2000 + 400.0 * i, {(Channels{1} << i) - 1, 0}});
  }
  gauge.deadband = {deadband, Sits::below};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 120 * ns_per_ms;
  return gauge;
}

// Many changes a minute, for the sake of a short count: what counts is their
// number, and that each is rare beside the readings.
Dwell asked_dwell() { return {60, 0.95, 120 * ns_per_s}; }

DwellUnit dwell_unit(std::uint64_t number) {
  const bool bursts = number >= first_with_bursts;
  Random random(number, 91);
  const auto between = [&](double low, double high) { return low + (high - low) * random.uniform(); };
  DwellUnit unit;
  unit.aimed = std::pow(1 / 0.3, random.uniform() + random.uniform() - 1);
  unit.behaviour.resolution_rpm = 0;
  unit.behaviour.response_ms = between(2, 30);
  unit.behaviour.averaging_pulses = 1 + std::floor(between(0, 6));
  unit.behaviour.update_hz = between(0, 1) < 0.3 ? 0 : between(60, 150);
  unit.runs = dwelled_gauge();
  const UnitReading reading = unit_reading(unit.runs, unit.behaviour);

  const double reading_rpm = between(2, 4);  // what the jitter makes of a reading, standard
  const double pulses_per_s = unit.runs.pulses_per_rev * boundary_rpm / 60;
  unit.noise.jitter_us =
      1e6 * reading_rpm * reading.averaging_pulses / (std::numbers::sqrt2 * boundary_rpm * pulses_per_s);
  if (bursts || random.uniform() < 0.5) {
    unit.noise.wander_rpm = between(1, 3);
    unit.noise.wander_s = bursts ? between(1, 5) : between(0.05, 0.3);
  }
  unit.runs.deadband.rpm = width_for(unit.aimed * asked_dwell().limit_per_min, unit.noise, reading, number);
  unit.runs.windows[1].from_rpm += between(-2, 2);
  return unit;
}

LongCount long_count(const DwellUnit& unit, double mean_rpm, double minutes, std::uint64_t seed) {
  const Gauge gauge = dwelled_gauge();
  SimulatedUnit simulated(unit.runs, unit.behaviour, gauge, seed);
  const Nanos stretch = asked_dwell().longest;
  const auto stretches = static_cast<std::size_t>(from_seconds(60 * minutes) / stretch);
  const Nanos settled = 2 * ns_per_s;
  const std::vector<Step> steps = {Hold{mean_rpm, settled + stretch * static_cast<Nanos>(stretches)}};
  const Profile profile(steps);
  PulseTrain train(profile, gauge.pulses_per_rev, unit.noise, seed);
  std::vector<Nanos> block(4096);
  std::vector<LampEvent> events;
  std::vector<double> cycles(stretches);
  double changes = 0;
  while (const std::size_t n = train.next(block)) {
    events.clear();
    simulated.run(std::span(block).first(n), block[n - 1], events);
    for (const LampEvent& event : events) {
      const auto at = static_cast<std::size_t>(std::max<Nanos>(event.at - settled, 0) / stretch);
      if (event.at < settled || at >= stretches) continue;
      ++changes;
      cycles[at] += event.lit == 0 ? 0 : 1;
    }
  }
  double sum = 0, squares = 0;
  for (const double c : cycles) sum += c, squares += c * c;
  const auto n = static_cast<double>(stretches);
  LongCount count;
  count.per_min = changes / (to_seconds(stretch) / 60 * n);
  if (sum > 0 && stretches > 1) count.dispersion = (squares - sum * sum / n) / (n - 1) / (sum / n);
  return count;
}

std::vector<CertifiedUnit> certify_units(std::uint64_t first, std::uint64_t count, double reference_min) {
  std::vector<CertifiedUnit> units(count);
  std::atomic<std::uint64_t> next = 0;
  const auto work = [&] {
    for (std::uint64_t i = next++; i < count; i = next++) units[i] = certify(first + i, reference_min);
  };
  std::vector<std::jthread> others;
  for (unsigned t = 1; t < std::thread::hardware_concurrency(); ++t) others.emplace_back(work);
  work();
  others.clear();
  return units;
}

VerdictCount count_verdicts(const std::vector<CertifiedUnit>& units, double CertifiedUnit::*rate, double from,
                            double to) {
  VerdictCount count{from, to};
  for (const CertifiedUnit& unit : units) {
    if (unit.*rate < from || unit.*rate >= to) continue;
    ++count.units;
    count.passes += unit.verdict == Verdict::pass ? 1 : 0;
    count.fails += unit.verdict == Verdict::fail ? 1 : 0;
    count.held_s += unit.held_s;
    count.dispersion += unit.dispersion;
  }
  if (count.units > 0) count.held_s /= static_cast<double>(count.units);
  if (count.units > 0) count.dispersion /= static_cast<double>(count.units);
  return count;
}

std::string verdict_table(const std::vector<CertifiedUnit>& units, double CertifiedUnit::*rate) {
  constexpr double beyond = std::numeric_limits<double>::infinity();
  constexpr double edges[] = {0, 0.5, 0.7, 0.85, 1, 1.15, 1.4, 2, beyond};
  std::string out =
      "| rate by the limit | units | passed | limits, % | failed | limits, % | held, s | dispersion |\n"
      "| --- | --- | --- | --- | --- | --- | --- | --- |\n";
  const auto row = [&](double from, double to, const std::string& name) {
    const VerdictCount count = count_verdicts(units, rate, from, to);
    const Limits passed = clopper_pearson(count.passes, count.units);
    const Limits failed = clopper_pearson(count.fails, count.units);
    out += fmt::format("| {} | {} | {} | {:.2f} .. {:.2f} | {} | {:.2f} .. {:.2f} | {:.0f} | {:.2f} |\n",
                       name, count.units, count.passes, 100 * passed.low, 100 * passed.high, count.fails,
                       100 * failed.low, 100 * failed.high, count.held_s, count.dispersion);
  };
  for (std::size_t i = 0; i + 1 < std::size(edges); ++i)
    row(edges[i], edges[i + 1],
        edges[i + 1] == beyond ? fmt::format("from {}", edges[i])
                               : fmt::format("{} to {}", edges[i], edges[i + 1]));
  row(0, 1, "all under the limit");
  row(1, beyond, "all at or above it");
  return out;
}

}  // namespace tachproof

#include "tests/bench/dwell_units.h"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <limits>
#include <numbers>
#include <thread>

#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/run/dwell_run.h"
#include "bench/run/flicker_study.h"
#include "core/base/random.h"
#include "core/signal/pulse_train.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/survey_units.h"

namespace tachproof {
namespace {

constexpr double boundary_rpm = 3600;

Gauge gauge_of(bool three) {
  Gauge gauge;
  gauge.name = three ? "three lamps" : "one lamp";
  gauge.pulses_per_rev = 3;
  if (three) {
    gauge.lamps = {{"early", {"white"}}, {"near", {"white"}}, {"late", {"white"}}};
    gauge.windows = {{"calm", 0, {}},
                     {"early", boundary_rpm - 150, {1}},
                     {"brisk", boundary_rpm, {3}},
                     {"late", boundary_rpm + 150, {7}}};
  } else {
    gauge.lamps = {{"near", {"white"}}};
    gauge.windows = {{"calm", 0, {}}, {"brisk", boundary_rpm, {1}}};
  }
  gauge.deadband = {15, Sits::below};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 120 * ns_per_ms;
  return gauge;
}

// The deadband that makes so many lamp changes a minute, between the two
// simulated widths next to it.
double width_for(double changes_per_min, const Noise& noise, const UnitReading& reading, std::uint64_t seed) {
  FlickerSetup setup;
  setup.noise = noise;
  setup.pulses_per_rev = gauge_of(false).pulses_per_rev;
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

double own_middle(const DwellUnit& unit, std::size_t boundary) {
  return (unit.runs.rising_rpm(boundary) + unit.runs.falling_rpm(boundary)) / 2;
}

// The noise, so many times as strong, that makes so many lamp changes a minute, by counts of the unit itself.
Noise noise_for(double changes_per_min, const DwellUnit& drawn) {
  constexpr double minutes = 5;
  constexpr std::size_t boundary = 2;
  double weak = 0.02, strong = 50;
  const auto times = [&](double factor) {
    Noise noise = drawn.noise;
    noise.jitter_us *= factor;
    noise.wander_rpm *= factor;
    return noise;
  };
  for (int i = 0; i < 9; ++i) {
    const double factor = std::sqrt(weak * strong);
    DwellUnit unit = drawn;
    unit.noise = times(factor);
    const LongCount count = long_count(unit, own_middle(unit, boundary), minutes, unit.number);
    (count.per_min > changes_per_min ? strong : weak) = factor;
  }
  return times(std::sqrt(weak * strong));
}

class Draw {
 public:
  Draw(std::uint64_t number, std::uint64_t stream) : random_(number, stream) {}
  double between(double low, double high) { return low + (high - low) * random_.uniform(); }
  double aimed() { return std::pow(1 / 0.3, random_.uniform() + random_.uniform() - 1); }
  // `averaged`: pulses of a reading. What the jitter makes of a reading is 2 to 4 rpm, standard.
  Noise noise(double averaged, bool bursts) {
    const double pulses_per_s = gauge_of(false).pulses_per_rev * boundary_rpm / 60;
    Noise noise;
    noise.jitter_us = 1e6 * between(2, 4) * averaged / (std::numbers::sqrt2 * boundary_rpm * pulses_per_s);
    if (bursts || random_.uniform() < 0.5) {
      noise.wander_rpm = between(1, 3);
      noise.wander_s = bursts ? between(1, 5) : between(0.05, 0.3);
    }
    return noise;
  }
  void settings(DwellUnit& unit, double width) {
    unit.runs.deadband.rpm = width;
    unit.asked.deadband.rpm = std::max(1.0, std::round(width));
    for (std::size_t w = 1; w < unit.runs.windows.size(); ++w)
      unit.runs.windows[w].from_rpm += between(-2, 2);
  }

 private:
  Random random_;
};

CertifiedUnit certified(const DwellUnit& unit, std::size_t boundary, const RunResult& result,
                        double reference_min) {
  const double limit = asked_dwell().limit_per_min, middle = own_middle(unit, boundary);
  const auto row = std::find_if(result.flicker.begin(), result.flicker.end(), [&](const FlickerResult& r) {
    return r.boundary == unit.runs.windows[boundary].name;
  });
  // Noise that the dwell has not seen.
  CertifiedUnit one;
  one.worst_rate = long_count(unit, middle, reference_min, ~unit.number).per_min / limit;
  if (row == result.flicker.end()) return one;
  one.verdict = row->verdict;
  one.held_s = row->duration_s;
  one.off_rpm = row->mean_rpm - middle;
  const LongCount held = long_count(unit, row->mean_rpm, reference_min, ~unit.number);
  one.held_rate = held.per_min / limit;
  one.dispersion = held.dispersion;
  return one;
}

std::vector<CertifiedUnit> certify(const DwellUnit& unit, double reference_min) {
  const ScratchFolder scratch;
  RunRecord record;
  record.gauge = unit.asked;
  RunFolder folder = RunFolder::create(scratch / "run", record);
  Rig rig = unit.rig(unit.number);
  const DwellPlan plan{unit.asked, unit.noise, unit.number, asked_dwell(), unit.reading, true};
  const RunResult result = run_dwell(plan, rig, folder).result;
  std::vector<CertifiedUnit> all;
  for (std::size_t b = 1; b <= unit.asked.boundaries(); ++b)
    all.push_back(certified(unit, b, result, reference_min));
  return all;
}

}  // namespace

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
  const bool three = number >= first_with_three;
  Draw draw(number, 91);
  DwellUnit unit;
  unit.number = number;
  unit.asked = unit.runs = gauge_of(three);
  unit.aimed = draw.aimed();
  Behaviour behaviour;
  behaviour.resolution_rpm = 0;
  behaviour.response_ms = draw.between(2, 30);
  behaviour.averaging_pulses = 1 + std::floor(draw.between(0, 6));
  behaviour.update_hz = draw.between(0, 1) < 0.3 ? 0 : draw.between(60, 150);
  unit.reading = unit_reading(unit.runs, behaviour);
  unit.noise = draw.noise(unit.reading.averaging_pulses, number >= first_with_bursts && !three);
  draw.settings(unit, width_for(unit.aimed * asked_dwell().limit_per_min, unit.noise, unit.reading, number));
  unit.rig = [runs = unit.runs, behaviour, asked = unit.asked](std::uint64_t seed) {
    return simulated_rig(runs, behaviour, asked, seed);
  };
  return unit;
}

DwellUnit dwell_unit(Physics physics, std::uint64_t number) {
  Draw draw(number, 92 + static_cast<std::uint64_t>(physics));
  DwellUnit unit;
  unit.number = number;
  unit.asked = unit.runs = gauge_of(true);
  unit.aimed = draw.aimed();
  unit.reading = unit_reading(unit.runs, {});
  draw.settings(unit, draw.between(0.8, 15.5));
  unit.rig = [physics, number, runs = unit.runs](std::uint64_t) {
    return other_rig(physics, runs, 0, number);
  };
  unit.noise.jitter_us = draw.between(0, 20);
  unit.noise.wander_rpm = draw.between(0.2, 2);
  unit.noise.wander_s = draw.between(0.05, 1);
  unit.noise = noise_for(unit.aimed * asked_dwell().limit_per_min, unit);
  return unit;
}

LongCount long_count(const DwellUnit& unit, double mean_rpm, double minutes, std::uint64_t seed) {
  Rig rig = unit.rig(seed);
  const Nanos stretch = asked_dwell().longest;
  const Nanos counted = from_seconds(60 * minutes);
  const auto stretches = static_cast<std::size_t>(std::max<Nanos>(counted / stretch, 1));
  const Nanos settled = 2 * ns_per_s;
  const std::vector<Step> steps = {Hold{mean_rpm, settled + stretch * static_cast<Nanos>(stretches)}};
  const Profile profile(steps);
  PulseTrain train(profile, unit.runs.pulses_per_rev, unit.noise, seed);
  std::vector<Nanos> block(4096);
  std::vector<LampEvent> events;
  std::vector<double> cycles(stretches);
  double changes = 0;
  Channels lit = 0;
  rig.source->begin();
  rig.watcher->begin();
  while (const std::size_t n = train.next(block)) {
    events.clear();
    rig.source->play({std::span(block).first(n), block[n - 1]});
    rig.watcher->collect(block[n - 1], events);
    for (const LampEvent& event : events) {
      const bool up = event.lit > lit;
      lit = event.lit;
      const auto at = static_cast<std::size_t>(std::max<Nanos>(event.at - settled, 0) / stretch);
      if (event.at < settled || at >= stretches) continue;
      ++changes;
      cycles[at] += up ? 1 : 0;
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

std::vector<CertifiedUnit> certify_units(const std::function<DwellUnit(std::uint64_t)>& draw,
                                         std::uint64_t first, std::uint64_t count, double reference_min) {
  std::vector<std::vector<CertifiedUnit>> units(count);
  std::atomic<std::uint64_t> next = 0;
  const auto work = [&] {
    for (std::uint64_t i = next++; i < count; i = next++) units[i] = certify(draw(first + i), reference_min);
  };
  std::vector<std::jthread> others;
  for (unsigned t = 1; t < std::thread::hardware_concurrency(); ++t) others.emplace_back(work);
  work();
  others.clear();
  std::vector<CertifiedUnit> all;
  for (const auto& unit : units) all.insert(all.end(), unit.begin(), unit.end());
  return all;
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

// The simulated unit in virtual time: 12,000 rpm at 4 pulses per revolution.
#include <benchmark/benchmark.h>

#include <vector>

#include "bench/rigs/simulated/simulated_unit.h"
#include "core/judge/judge.h"
#include "core/signal/pulse_train.h"

namespace tachproof {
namespace {

Gauge six_windows() {
  Gauge gauge;
  gauge.name = "bench";
  gauge.pulses_per_rev = 4;
  gauge.lamps = {{"one", {"white", "blue"}}, {"two", {"blue", "magenta"}}};
  gauge.windows = {{"w0", 0, {}},
                   {"w1", 3000, {0b0001, 0}},
                   {"w2", 5000, {0b0010, 0}},
                   {"w3", 7000, {0b0100, 0}},
                   {"w4", 9000, {0b1000, 0}},
                   {"w5", 11900, {0b1001, 0}}};
  gauge.deadband.rpm = 20;
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 120 * ns_per_ms;
  return gauge;
}

// 10 s of pulses between two rates, there and back; repeated by shifting.
std::vector<Nanos> pulses_between(double low_hz, double high_hz) {
  constexpr double half_s = 5;
  const double gain = (high_hz - low_hz) / half_s;
  std::vector<Nanos> pulses;
  double t = 0;
  while (t < 2 * half_s) {
    const double hz = t < half_s ? low_hz + gain * t : high_hz - gain * (t - half_s);
    t += 1 / hz;
    if (t < 2 * half_s) pulses.push_back(from_seconds(t));
  }
  return pulses;
}

void play(benchmark::State& state, const Behaviour& behaviour, double low_hz, double high_hz) {
  const Gauge gauge = six_windows();
  const std::vector<Nanos> ten_seconds = pulses_between(low_hz, high_hz);
  constexpr Nanos length = 10 * ns_per_s;
  std::vector<Nanos> block(ten_seconds.size());
  std::vector<LampEvent> events;
  SimulatedUnit unit(gauge, behaviour, gauge, 1);
  Nanos begin = 0;
  for (auto _ : state) {
    state.PauseTiming();
    for (std::size_t i = 0; i < block.size(); ++i) block[i] = begin + ten_seconds[i];
    begin += length;
    events.clear();
    state.ResumeTiming();
    unit.run(block, begin, events);
    benchmark::DoNotOptimize(events.data());
  }
  const double pulses = static_cast<double>(state.iterations()) * static_cast<double>(block.size());
  state.counters["per_pulse"] =
      benchmark::Counter(pulses, benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
  state.counters["times_real_time"] = benchmark::Counter(
      static_cast<double>(state.iterations()) * to_seconds(length), benchmark::Counter::kIsRate);
}

void SteadyAt12000(benchmark::State& state) { play(state, {}, 800, 800); }
BENCHMARK(SteadyAt12000);

void RampsUpAndDown(benchmark::State& state) { play(state, {}, 150, 800); }
BENCHMARK(RampsUpAndDown);

void ReadingAtEveryPulse(benchmark::State& state) {
  Behaviour behaviour;
  behaviour.update_hz = 0;
  play(state, behaviour, 800, 800);
}
BENCHMARK(ReadingAtEveryPulse);

void Dimmed(benchmark::State& state) {
  Behaviour behaviour;
  behaviour.dim = 0.5;
  play(state, behaviour, 800, 800);
}
BENCHMARK(Dimmed);

void NoisyReading(benchmark::State& state) {
  Behaviour behaviour;
  behaviour.faults = {{"noisy-reading", {}, {{"rpm", 5}}}};
  play(state, behaviour, 800, 800);
}
BENCHMARK(NoisyReading);

// Everything between the files: train, unit and judge, in stretches of a
// second as a run has them.
void whole_model(benchmark::State& state, const Behaviour& behaviour) {
  const Gauge gauge = six_windows();
  constexpr Nanos length = 600 * ns_per_s;
  const Profile profile(std::vector<Step>{Hold{12'000, length}});
  std::vector<Nanos> pulses(4096);
  std::vector<LampEvent> events;
  for (auto _ : state) {
    PulseTrain train(profile, gauge.pulses_per_rev);
    SimulatedUnit unit(gauge, behaviour, gauge, 1);
    Judge judge(gauge, {});
    for (const Segment& segment : profile.segments()) judge.rpm(segment);
    Nanos until = 0;
    while (const std::size_t n = train.next(pulses)) {
      until = pulses[n - 1];
      events.clear();
      unit.run({pulses.data(), n}, until, events);
      judge.pulses(n);
      judge.lamps(events);
      judge.seen_until(until);
    }
    const RunResult result = judge.finish(until);
    if (result.evidence.pulses != 480'000) state.SkipWithError("not every pulse was played");
    benchmark::DoNotOptimize(result.verdict);
  }
  state.counters["times_real_time"] = benchmark::Counter(
      static_cast<double>(state.iterations()) * to_seconds(length), benchmark::Counter::kIsRate);
}

void ModelAt12000(benchmark::State& state) { whole_model(state, {}); }
BENCHMARK(ModelAt12000)->Unit(benchmark::kMillisecond);

void ModelUpdatesAtEveryPulse(benchmark::State& state) {
  Behaviour behaviour;
  behaviour.update_hz = 0;
  whole_model(state, behaviour);
}
BENCHMARK(ModelUpdatesAtEveryPulse)->Unit(benchmark::kMillisecond);

void ModelDimmed(benchmark::State& state) {
  Behaviour behaviour;
  behaviour.dim = 0.5;
  whole_model(state, behaviour);
}
BENCHMARK(ModelDimmed)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace tachproof

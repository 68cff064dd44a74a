// Cost of an edge. Machines differ and are shared: compare the numbers of one
// run. edges_peer.py prints NumPy's for the ramp expression.
#include <benchmark/benchmark.h>

#include <algorithm>
#include <array>
#include <vector>

#include "core/signal/edges.h"
#include "core/signal/pulse_train.h"

namespace tachproof {
namespace {

void per_edge(benchmark::State& state, std::size_t edges) {
  using benchmark::Counter;
  state.counters["per_edge"] = Counter(static_cast<double>(edges), Counter::kIsRate | Counter::kInvert);
}

void with_instructions(benchmark::State& state, auto fill) {
  const auto set = static_cast<Instructions>(state.range(0));
  if (!available(set)) return state.SkipWithError("not on this processor");
  std::array<Nanos, edges_block> block;
  std::size_t edges = 0;
  for (auto _ : state) {
    fill(block, set);
    benchmark::DoNotOptimize(block.data());
    benchmark::ClobberMemory();
    edges += block.size();
  }
  per_edge(state, edges);
}

void ramp(benchmark::State& state) {
  with_instructions(state, [](std::span<Nanos> out, Instructions set) {
    ramp_edges({ns_per_s, 0.25}, 100, 7.5, true, out, set);
  });
}
BENCHMARK(ramp)->ArgName("set")->DenseRange(0, 2);

void constant(benchmark::State& state) {
  with_instructions(state, [](std::span<Nanos> out, Instructions set) {
    constant_edges({ns_per_s, 0.25}, 3333.25, out, set);
  });
}
BENCHMARK(constant)->ArgName("set")->DenseRange(0, 2);

// The floor of both.
void writing_memory(benchmark::State& state) {
  with_instructions(state, [](std::span<Nanos> out, Instructions) { std::ranges::fill(out, ns_per_s); });
}
BENCHMARK(writing_memory)->ArgName("set")->Arg(0);

void train(benchmark::State& state, const Step& step, const Noise& noise) {
  const Profile profile(std::vector<Step>{Hold{1000, ns_per_s}, step});
  std::vector<Nanos> block(4096);
  std::size_t edges = 0;
  for (auto _ : state) {
    PulseTrain pulses(profile, 3, noise, 1);
    while (const std::size_t n = pulses.next(block)) {
      benchmark::DoNotOptimize(block.data());
      edges += n;
    }
  }
  per_edge(state, edges);
}

Noise jitter() {
  Noise noise;
  noise.jitter_us = 20;
  return noise;
}
Noise wander() {
  Noise noise = jitter();
  noise.wander_rpm = 3;
  noise.wander_s = 0.4;
  noise.missing = 1e-5;
  return noise;
}

constexpr Nanos minutes = 60 * ns_per_s;
BENCHMARK_CAPTURE(train, hold, Hold{12'000, 10 * minutes}, Noise{});
BENCHMARK_CAPTURE(train, ramp, RampByTime{12'000, 10 * minutes}, Noise{});
BENCHMARK_CAPTURE(train, wave, Wave{6000, 900, 2 * ns_per_s, minutes}, Noise{});
BENCHMARK_CAPTURE(train, hold_jitter, Hold{12'000, minutes}, jitter());
BENCHMARK_CAPTURE(train, hold_jitter_wander_missing, Hold{12'000, minutes}, wander());

}  // namespace
}  // namespace tachproof

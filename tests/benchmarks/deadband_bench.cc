// Flicker at every deadband width, beside drawing the normals alone.
//
//     build/tests/benchmarks/benchmarks --benchmark_filter=Deadband
//     python3 tests/benchmarks/deadband_peer.py        (NumPy, the same cases)
//
// Items are pulses: the inverse of items per second is the time per pulse.
#include <benchmark/benchmark.h>

#include <vector>

#include "bench/run/flicker_study.h"
#include "core/flicker/flicker.h"
#include "core/flicker/normal_lanes.h"

namespace tachproof {
namespace {

// White jitter, an average of 8, a reading at every pulse: a standard deviation
// of 2.45 rpm at 3720 rpm.
constexpr double sd_rpm = 2.446;

FlickerSetup jitter_only() {
  FlickerSetup setup;
  setup.noise.jitter_us = 20;
  setup.pulses_per_rev = 3;
  setup.unit = {8, 0, 0, 0};
  setup.places_rpm = {3720};
  setup.step_rpm = 0.5;
  setup.reach_rpm = 0;
  setup.steps = 1 << 16;
  return setup;
}

void count(benchmark::State& state, const FlickerSetup& setup, Instructions with) {
  if (!available(with)) return state.SkipWithError("not on this processor");
  std::uint64_t chunk = 0;
  for (auto _ : state) benchmark::DoNotOptimize(flicker_chunk(setup, chunk++, with));
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(setup.steps * NormalLanes::lanes));
}

void DeadbandNormalsAlone(benchmark::State& state) {
  const auto with = static_cast<Instructions>(state.range(0));
  if (!available(with)) return state.SkipWithError("not on this processor");
  NormalLanes normals(1, 1, with);
  std::vector<float> block(128 * NormalLanes::lanes);
  for (auto _ : state) {
    normals.fill(block);
    benchmark::DoNotOptimize(block.data());
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(block.size()));
}

void DeadbandRareAllWidths(benchmark::State& state) {
  FlickerSetup setup = jitter_only();
  setup.narrowest_rpm = 5 * sd_rpm;
  count(state, setup, static_cast<Instructions>(state.range(0)));
}

void DeadbandFrequentAllWidths(benchmark::State& state) {
  FlickerSetup setup = jitter_only();
  setup.narrowest_rpm = 0.25 * sd_rpm;
  count(state, setup, static_cast<Instructions>(state.range(0)));
}

void DeadbandMixedNoiseAllMeans(benchmark::State& state) {
  FlickerSetup setup = jitter_only();
  setup.noise.wander_rpm = 3;
  setup.noise.wander_s = 0.4;
  setup.reach_rpm = 25;
  count(state, setup, static_cast<Instructions>(state.range(0)));
}

void DeadbandOnThreads(benchmark::State& state) {
  FlickerSetup setup = jitter_only();
  setup.chunks = 16;
  for (auto _ : state)
    benchmark::DoNotOptimize(simulate_flicker(setup, static_cast<unsigned>(state.range(0))));
  state.SetItemsProcessed(state.iterations() *
                          static_cast<std::int64_t>(setup.chunks * setup.steps * NormalLanes::lanes));
}

// 0: what the compiler makes of it for any x86-64, 1: AVX2, 2: AVX-512.
BENCHMARK(DeadbandNormalsAlone)->DenseRange(0, 2);
BENCHMARK(DeadbandRareAllWidths)->DenseRange(0, 2);
BENCHMARK(DeadbandFrequentAllWidths)->DenseRange(0, 2);
BENCHMARK(DeadbandMixedNoiseAllMeans)->DenseRange(0, 2);
BENCHMARK(DeadbandOnThreads)->Arg(1)->Arg(2)->UseRealTime();

}  // namespace
}  // namespace tachproof

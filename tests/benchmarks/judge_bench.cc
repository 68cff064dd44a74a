// Cost of a lamp event in the judge, beside the floor: reading records of 40
// bytes, in which a watcher's log keeps its events.
#include <benchmark/benchmark.h>

#include <array>
#include <cstdint>
#include <vector>

#include "core/judge/crossings.h"
#include "core/judge/expectation.h"
#include "core/judge/judge.h"

namespace tachproof {
namespace {

constexpr std::size_t events_wanted = 1'000'000;

// As a watcher logs it; only the first two are of use here.
struct Record {
  LampEvent event;
  std::uint64_t sequence = 0, device_ticks = 0, flags = 0;
};
static_assert(sizeof(Record) == 40);

std::vector<Record> records_of(const std::vector<LampEvent>& events) {
  std::vector<Record> records;
  records.reserve(events.size());
  for (const LampEvent& event : events) records.push_back({event, records.size(), 0, 0});
  return records;
}

Gauge three_boundaries() {
  Gauge gauge;
  gauge.name = "bench";
  gauge.lamps = {{"one", {"white", "blue"}}, {"two", {"blue", "magenta"}}};
  gauge.windows = {
      {"w0", 0, {}}, {"w1", 5500, {0b0001, 0}}, {"w2", 6000, {0b0010, 0}}, {"w3", 6500, {0b0110, 0}}};
  gauge.deadband.rpm = 20;
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 60 * ns_per_ms;
  return gauge;
}

Gauge one_that_blinks() {
  Gauge gauge = three_boundaries();
  gauge.windows.back().cue = {0b0010, 0b0100};
  gauge.blink = Blink{8, 0.5};
  return gauge;
}

// What the judge is given: all of the rpm, then every event.
struct Case {
  Gauge gauge;
  Profile profile;
  std::vector<Record> records;
};

// To and fro across three boundaries, six events a period, each of them demanded.
const Case& demanded_moves() {
  static const Case one = [] {
    Case c;
    c.gauge = three_boundaries();
    constexpr Nanos period = 2 * ns_per_s;
    c.profile = Profile(std::vector<Step>{Wave{6000, 900, period, period * (events_wanted / 6)}});
    std::vector<LampEvent> events{{0, 0}};
    for (const ExpectedTransition& demand : expect(c.gauge, c.profile).transitions) {
      const std::size_t window = demand.boundary - (demand.direction == Direction::rising ? 0 : 1);
      events.push_back(
          {demand.earliest + (demand.latest - demand.earliest) / 2, c.gauge.windows[window].cue.steady});
    }
    c.records = records_of(events);
    return c;
  }();
  return one;
}

// One window held, one lamp of it blinking.
const Case& blinking() {
  static const Case one = [] {
    Case c;
    c.gauge = one_that_blinks();
    constexpr Nanos half_period = ns_per_s / 16;
    c.profile = Profile(std::vector<Step>{Hold{7000, half_period * (events_wanted - 1)}});
    std::vector<LampEvent> events{{0, 0}, {half_period / 2, 0b0110}};
    for (Nanos k = 1; events.size() < events_wanted; ++k)
      events.push_back({k * half_period, k % 2 ? Channels{0b0010} : Channels{0b0110}});
    c.records = records_of(events);
    return c;
  }();
  return one;
}

void per_event(benchmark::State& state, const Case& c) {
  using benchmark::Counter;
  state.counters["per_event"] =
      Counter(static_cast<double>(c.records.size()), Counter::kIsIterationInvariantRate | Counter::kInvert);
}

// The floor.
void ReadingTheRecords(benchmark::State& state) {
  const std::vector<Record>& records = demanded_moves().records;
  for (auto _ : state) {
    Nanos last = 0;
    Channels ever = 0;
    for (const Record& record : records) {
      last = std::max(last, record.event.at);
      ever |= record.event.lit ^ record.sequence ^ record.device_ticks ^ record.flags;
    }
    benchmark::DoNotOptimize(last);
    benchmark::DoNotOptimize(ever);
  }
  per_event(state, demanded_moves());
}
BENCHMARK(ReadingTheRecords)->Unit(benchmark::kMillisecond);

// What no matching does without: reads each record and its demand, and writes down what became of it. No side
// of a boundary is kept, nothing can be late, early, missing or seen twice.
void WritingWhatMatches(benchmark::State& state) {
  const Case& c = demanded_moves();
  const std::vector<ExpectedTransition> demands = expect(c.gauge, c.profile).transitions;
  for (auto _ : state) {
    std::vector<Crossing> crossings(1);
    std::size_t in_time = 0;
    for (std::size_t i = 1; i < c.records.size(); ++i) {
      const ExpectedTransition& demand = demands[i - 1];
      const Nanos at = c.records[i].event.at;
      const bool inside = at >= demand.earliest && at <= demand.latest;
      crossings[0] = {demand, inside ? Crossing::Timing::inside : Crossing::Timing::late, at};
      benchmark::DoNotOptimize(crossings.data());
      benchmark::ClobberMemory();
      in_time += inside ? 1 : 0;
    }
    benchmark::DoNotOptimize(in_time);
    if (in_time != c.records.size() - 1) state.SkipWithError("a demand was not met");
  }
  per_event(state, c);
}
BENCHMARK(WritingWhatMatches)->Unit(benchmark::kMillisecond);

// Demands beside moves alone, from records: for each, its boundary opens, the
// window changes, the boundary closes and the two are matched.
void MatchingAlone(benchmark::State& state) {
  const Case& c = demanded_moves();
  const std::vector<ExpectedTransition> demands = expect(c.gauge, c.profile).transitions;
  for (auto _ : state) {
    Crossings crossings(c.gauge.boundaries());
    std::size_t in_time = 0;
    for (std::size_t i = 1; i < c.records.size(); ++i) {
      const ExpectedTransition& demand = demands[i - 1];
      const bool rising = demand.direction == Direction::rising;
      const std::size_t above = demand.boundary, below = demand.boundary - 1;
      crossings.open(demand.boundary, demand.earliest);
      crossings.moved(rising ? below : above, rising ? above : below, c.records[i].event.at, false);
      crossings.close(demand.boundary, demand.latest, rising, &demand);
      for (const Crossing& crossing : crossings.crossings)
        in_time += crossing.timing == Crossing::Timing::inside;
      crossings.crossings.clear();
    }
    benchmark::DoNotOptimize(in_time);
    if (in_time != c.records.size() - 1) state.SkipWithError("a demand was not met");
  }
  per_event(state, c);
}
BENCHMARK(MatchingAlone)->Unit(benchmark::kMillisecond);

// The judge with its filters, expectation, blink meters and findings; `finish`
// and the feeding of the rpm are outside. One wave decides no threshold, so none is asked.
void judge_events(benchmark::State& state, const Case& c) {
  JudgeSetup setup;
  setup.what.thresholds = false;
  std::array<LampEvent, 1024> block;
  for (auto _ : state) {
    state.PauseTiming();
    {
      Judge judge(c.gauge, setup);
      for (const Segment& segment : c.profile.segments()) judge.rpm(segment);
      state.ResumeTiming();
      for (std::size_t at = 0; at < c.records.size();) {
        std::size_t n = 0;
        for (; n < block.size() && at < c.records.size(); ++n, ++at) block[n] = c.records[at].event;
        judge.lamps({block.data(), n});
      }
      state.PauseTiming();
      const RunResult judgement = judge.finish(c.profile.duration());
      if (judgement.verdict != Verdict::pass) {
        state.SkipWithError(judgement.findings.empty() ? "not a pass"
                                                       : judgement.findings[0].message.c_str());
        break;
      }
    }
    state.ResumeTiming();
  }
  per_event(state, c);
}

void JudgingDemandedMoves(benchmark::State& state) { judge_events(state, demanded_moves()); }
BENCHMARK(JudgingDemandedMoves)->Unit(benchmark::kMillisecond);

void JudgingABlink(benchmark::State& state) { judge_events(state, blinking()); }
BENCHMARK(JudgingABlink)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace tachproof

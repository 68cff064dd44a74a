// A simulated signal generator as the source of a run, in virtual time, and a unit that hears it.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "bench/rigs/scpi/scpi_source.h"
#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/run/runner.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/simulated_generator.h"

namespace tachproof::test {

inline constexpr Nanos patience = 250 * ns_per_ms;  // of wall time: an answer comes at once, or never

inline Gauge two_windows() {
  Gauge gauge;
  gauge.name = "Esk";
  gauge.pulses_per_rev = 3;
  gauge.lamps = {{"only", {"white"}}};
  gauge.windows = {{"calm", 0, {}}, {"brisk", 3000, {.steady = 1, .blinking = 0}}};
  gauge.deadband = {8, Sits::below};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 150 * ns_per_ms;
  return gauge;
}

inline std::vector<Step> up_and_down() {
  return {Hold{2950, 500 * ns_per_ms}, RampByRate{3040, 10}, RampByRate{2950, 10}, RampByRate{3040, 60},
          RampByRate{2950, 60},        RampByRate{3040, 10}, RampByRate{2950, 10}, StepTo{3100},
          Hold{3100, 600 * ns_per_ms}, StepTo{2900},         Hold{2900, ns_per_s}};
}

// Feeds a unit with what the generator really put out, by its own log.
class UnitOnTheGenerator : public Watcher {
 public:
  UnitOnTheGenerator(const SimulatedGenerator& generator, RunZero zero, const Gauge& unit, const Gauge& gauge)
      : generator_(generator),
        zero_(std::move(zero)),
        wire_(std::make_shared<PulseWire>()),
        unit_(simulated_watcher(wire_, unit, {}, gauge, 1)) {}
  WatcherFacts facts() const override { return unit_->facts(); }
  void begin() override { unit_->begin(); }
  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    const std::vector<OutputState> output = generator_.output();
    for (; next_ < output.size() && output[next_].at - **zero_ <= until; ++next_)
      pulses_.frequency(std::max<Nanos>(output[next_].at - **zero_, 0), output[next_].hz, *wire_);
    pulses_.run_until(until, *wire_);
    return unit_->collect(until, out);
  }
  void end() noexcept override { unit_->end(); }

 private:
  const SimulatedGenerator& generator_;
  RunZero zero_;
  std::shared_ptr<PulseWire> wire_;
  EvenPulses pulses_;
  std::size_t next_ = 0;
  std::unique_ptr<Watcher> unit_;
};

class Scpi : public testing::Test {
 protected:
  void generator_is(const GeneratorNature& nature = {},
                    SimulatedGenerator::Door door = SimulatedGenerator::Door::tcp) {
    generator = std::make_unique<SimulatedGenerator>(clock, nature, door);
    setting.address = generator->address();
  }

  std::unique_ptr<Instrument> open() {
    const InstrumentAddress address{setting.address, setting.baud};
    return std::make_unique<Instrument>(
        setting, clock, [address] { return open_instrument(address); }, patience);
  }
  std::unique_ptr<ScpiSource> source() {
    return std::make_unique<ScpiSource>(setting, gauge.pulses_per_rev, clock, open());
  }

  Rig on_the_generator(const Gauge& unit) {
    std::unique_ptr<ScpiSource> from = source();
    zero = from->zero();
    auto watcher = std::make_unique<UnitOnTheGenerator>(*generator, zero, unit, gauge);
    return paced_by(std::move(from), std::move(watcher));
  }

  RunResult run(const Gauge& unit, const std::vector<Step>& steps, const RunHooks& hooks = {}) {
    const Profile profile(steps);
    RunRecord record;
    record.gauge = gauge;
    RunFolder folder = RunFolder::create(scratch / "run", record);
    Rig rig = on_the_generator(unit);
    JudgeWhat what;
    what.thresholds = true;
    return run_scenario({gauge, profile, {}, 1, what}, rig, folder, hooks).result;
  }

  // A run with a fault of the generator in its middle.
  std::string lost(const GeneratorNature& nature) {
    generator_is(nature);
    const RunResult result = run(gauge, up_and_down());
    EXPECT_EQ(result.verdict, Verdict::undecided);
    EXPECT_FALSE(result.complete);
    if (result.findings.empty()) return "no finding";
    EXPECT_EQ(result.findings.front().kind, FindingKind::bench_fault);
    return result.findings.front().message;
  }

  void SetUp() override {
    setting.amplitude_v = 5;
    setting.offset_v = 2.5;
    setting.answer = 6 * ns_per_ms;
    setting.settle = 10 * ns_per_ms;
  }

  std::shared_ptr<VirtualClock> clock = std::make_shared<VirtualClock>();
  std::unique_ptr<SimulatedGenerator> generator;
  ScpiSetting setting;
  Gauge gauge = two_windows();
  ScratchFolder scratch;
  RunZero zero;
};

}  // namespace tachproof::test

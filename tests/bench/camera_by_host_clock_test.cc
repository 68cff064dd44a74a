// A generator and a camera that is stamped by the host's clock, in virtual time.
// The camera's program is played by a script that shows a simulated unit, fed
// with what the generator really put out.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>

#include "bench/rigs/camera/camera.h"
#include "bench/rigs/scpi/scpi_source.h"
#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/run/runner.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/simulated_generator.h"

namespace tachproof {
namespace {

using test::SimulatedGenerator;
using test::VirtualClock;
using testing::HasSubstr;

constexpr Nanos period = 20 * ns_per_ms;
constexpr Nanos delivered_after = 15 * ns_per_ms;  // the stamp

Gauge one_lamp() {
  Gauge gauge;
  gauge.name = "Esk";
  gauge.pulses_per_rev = 3;
  gauge.lamps = {{"only", {"white"}}};
  gauge.windows = {{"calm", 0, {}}, {"brisk", 3000, {.steady = 1, .blinking = 0}}};
  gauge.deadband = {8, Sits::below};
  gauge.tolerance.rpm = 12;
  gauge.tolerance.response_to = 600 * ns_per_ms;
  return gauge;
}

const char* const regions = R"(format: 1
kind: regions
frame: {width: 640, height: 480}
dial: {reference: dial.png, within: 12, patches: [[10, 10], [100, 10], [10, 100]]}
lamps:
  only:
    at: {x: 320, y: 0.5, radius: 10}
    dark: {core: [0.01, 0.01, 0.01], rim: [0.01, 0.01, 0.01]}
    colours:
      white: {core: [0.4, 0.4, 0.4], halo: [0.2, 0.2, 0.2], rim: 0.08}
)";

struct Script {
  Nanos late = 0;                                 // of the stamps, against the middle of the exposure
  int stops_at = -1, drops_from = -1, drops = 0;  // frames, from the run's begin
};

// What `tachproof-camera watch` would say, 50 frames a second.
class ScriptedCamera : public CameraLines {
 public:
  ScriptedCamera(std::shared_ptr<VirtualClock> clock, const SimulatedGenerator& generator, RunZero zero,
                 const Gauge& unit, const Gauge& gauge, const Behaviour& behaviour, const Script& script)
      : clock_(std::move(clock)),
        generator_(generator),
        zero_(std::move(zero)),
        wire_(std::make_shared<PulseWire>()),
        unit_(simulated_watcher(wire_, unit, behaviour, gauge, 1)),
        script_(script) {
    unit_->begin();
  }
  std::optional<std::string> line(std::chrono::milliseconds) override {
    if (greeted_ < greeting_.size()) return greeting_[greeted_++];
    if (!*zero_) return std::nullopt;
    Nanos at = frame_ * period;
    if (frame_ == script_.stops_at) throw RigError("the camera /dev/video9 gives no more frames");
    if (frame_ == script_.drops_from) at = (frame_ += script_.drops) * period;
    if (clock_->now() < **zero_ + at + script_.late + delivered_after) return std::nullopt;
    ++frame_;
    return "frame " + std::to_string(**zero_ + at + script_.late) + " - " + (lit_at(at) ? "A" : ".");
  }

 private:
  bool lit_at(Nanos until) {
    const std::vector<test::OutputState> output = generator_.output();
    for (; next_ < output.size() && output[next_].at - **zero_ <= until; ++next_)
      pulses_.frequency(std::max<Nanos>(output[next_].at - **zero_, 0), output[next_].hz, *wire_);
    pulses_.run_until(until, *wire_);
    std::vector<LampEvent> events;
    unit_->collect(until, events);
    if (!events.empty()) lit_ = events.back().lit;
    return lit_ != 0;
  }

  std::shared_ptr<VirtualClock> clock_;
  const SimulatedGenerator& generator_;
  RunZero zero_;
  std::shared_ptr<PulseWire> wire_;
  std::unique_ptr<Watcher> unit_;
  Script script_;
  EvenPulses pulses_;
  std::vector<std::string> greeting_{"tachproof-camera 1", "about a scripted camera", "period 20000000"};
  std::size_t greeted_ = 0, next_ = 0;
  int frame_ = 0;
  Channels lit_ = 0;
};

class CameraByHostClock : public testing::Test {
 protected:
  RunOutcome run(const Gauge& unit, const Script& script, const Behaviour& behaviour = {},
                 const RunHooks& hooks = {}) {
    std::ofstream(scratch / "regions.yaml") << regions;
    ScpiSetting setting;
    setting.address = generator.address();
    setting.amplitude_v = 5;
    const RunZero zero = std::make_shared<std::optional<Nanos>>();
    const InstrumentAddress address{setting.address, setting.baud};
    auto source = std::make_unique<ScpiSource>(
        setting, gauge.pulses_per_rev, clock,
        std::make_unique<Instrument>(setting, clock, [address] { return open_instrument(address); }), zero);
    CameraSettings camera;
    camera.from = "/dev/video9";
    camera.live = true;
    camera.regions = (scratch / "regions.yaml").string();
    camera.exposure_ms = 4;
    camera.readout_ms = 10;
    auto watcher = camera_by_host_clock(
        camera, gauge, zero, [at = source.get()] { return at->attend(); },
        [&](const std::vector<std::string>&) {
          return std::make_unique<ScriptedCamera>(clock, generator, zero, unit, gauge, behaviour, script);
        });
    Rig rig = paced_by(std::move(source), std::move(watcher));
    description = rig.watcher->facts().description;
    uncertainty = rig.watcher->facts().stamp_uncertainty;
    const std::vector<Step> steps{Hold{2900, ns_per_s}, RampByRate{3100, 40}, Hold{3100, ns_per_s},
                                  RampByRate{2900, 40}, Hold{2900, ns_per_s}};
    const Profile profile(steps);
    RunRecord record;
    record.gauge = gauge;
    RunFolder folder = RunFolder::create(scratch / "out", record);
    JudgeWhat what;
    what.thresholds = false;  // one ramp each way proves none
    return run_scenario({gauge, profile, {}, 1, what}, rig, folder, hooks);
  }
  static std::string said(const RunOutcome& outcome) {
    std::string all;
    for (const Finding& finding : outcome.result.findings) all += finding.message + "\n";
    return all;
  }

  ScratchFolder scratch;
  std::shared_ptr<VirtualClock> clock = std::make_shared<VirtualClock>();
  SimulatedGenerator generator{clock, {}};
  Gauge gauge = one_lamp();
  std::string description;
  Nanos uncertainty = 0;
};

TEST_F(CameraByHostClock, AHealthyUnitPassesWhereverInAFrameTheStampWasPut) {
  for (const Nanos late : {-2 * ns_per_ms, Nanos{0}, 30 * ns_per_ms}) {
    const RunOutcome outcome = run(gauge, {.late = late});
    EXPECT_EQ(outcome.result.verdict, Verdict::pass) << late << said(outcome);
    ASSERT_EQ(outcome.result.transitions.size(), 2U);
    std::filesystem::remove_all(scratch / "out");
  }
  // Half of: 2.2 periods; exposure, readout and a period.
  EXPECT_THAT(description, HasSubstr("the host's clock sets its time in the run, within"));
  EXPECT_FALSE(generator.output_on());
}

TEST_F(CameraByHostClock, AUnitWithAHighBoundaryFails) {
  Gauge unit = gauge;
  unit.windows[1].from_rpm = 3060;
  const RunOutcome outcome = run(unit, {});
  EXPECT_EQ(outcome.result.verdict, Verdict::fail) << said(outcome);
}

TEST_F(CameraByHostClock, AUnitThatIsTooSlowNeverPasses) {
  Behaviour slow;
  slow.response_ms = 1100;
  for (const Nanos late : {-2 * ns_per_ms, 30 * ns_per_ms}) {
    EXPECT_NE(run(gauge, {.late = late}, slow).result.verdict, Verdict::pass);
    std::filesystem::remove_all(scratch / "out");
  }
}

TEST_F(CameraByHostClock, ACameraThatStopsIsUndecidedAndTheOutputIsOff) {
  const RunOutcome outcome = run(gauge, {.stops_at = 150});
  EXPECT_EQ(outcome.result.verdict, Verdict::undecided);
  EXPECT_THAT(said(outcome), HasSubstr("gives no more frames"));
  EXPECT_FALSE(generator.output_on());
}

TEST_F(CameraByHostClock, StoppedByThePersonItIsUndecidedAndTheOutputIsOff) {
  RunHooks hooks;
  bool was_on = false;
  hooks.stop = [&, asked = 0]() mutable -> std::optional<std::string> {
    if (++asked < 40) return std::nullopt;
    was_on = generator.output_on();
    return "stopped by the person at the bench";
  };
  EXPECT_EQ(run(gauge, {}, {}, hooks).result.verdict, Verdict::undecided);
  EXPECT_TRUE(was_on);
  EXPECT_FALSE(generator.output_on());
}

TEST_F(CameraByHostClock, DroppedFramesAreUndecided) {
  const RunOutcome outcome = run(gauge, {.drops_from = 100, .drops = 8});
  EXPECT_EQ(outcome.result.verdict, Verdict::undecided) << said(outcome);
}

}  // namespace
}  // namespace tachproof

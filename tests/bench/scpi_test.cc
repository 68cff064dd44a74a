// A signal generator as the source, through real sockets and in virtual time.
#include "bench/rigs/scpi/scpi_source.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <sstream>

#include "bench/rigs/last_words.h"
#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/run/runner.h"
#include "bench/run/survey_run.h"
#include "tests/bench/error_of.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/simulated_generator.h"

namespace tachproof {
namespace {

using test::GeneratorNature;
using test::OutputState;
using test::SimulatedGenerator;
using test::VirtualClock;
using testing::AllOf;
using testing::EndsWith;
using testing::HasSubstr;
using testing::StartsWith;

constexpr Nanos patience = 250 * ns_per_ms;  // of wall time: an answer comes at once, or never

Gauge two_windows() {
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

std::vector<Step> up_and_down() {
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

// ---- whole runs ---------------------------------------------------------------------

TEST_F(Scpi, AHealthyUnitPasses) {
  generator_is();
  const RunResult result = run(gauge, up_and_down());
  EXPECT_EQ(result.verdict, Verdict::pass);
  EXPECT_TRUE(result.findings.empty());
  for (const BoundaryResult& row : result.boundaries)
    EXPECT_LT(std::abs(row.threshold_rpm - row.nominal_rpm), row.expanded_uncertainty_rpm);
  EXPECT_FALSE(generator->output_on());
}

TEST_F(Scpi, AMovedBoundaryFails) {
  generator_is();
  Gauge unit = gauge;
  unit.windows[1].from_rpm += 7;
  EXPECT_EQ(run(unit, up_and_down()).verdict, Verdict::fail);
  EXPECT_FALSE(generator->output_on());
}

TEST_F(Scpi, WhatItPutsOutKeepsThePromiseToTheJudge) {
  generator_is();
  const Profile profile(up_and_down());
  run(gauge, up_and_down());
  const std::vector<OutputState> output = generator->output();
  const Nanos lag = source_lag(stepped_timing(setting));
  const double bound = frequency_bound_rpm(setting, gauge.pulses_per_rev) + 1e-6;
  std::size_t next = 0;
  double played = 0;
  for (Nanos t = lag; t < profile.duration() - lag; t += 3 * ns_per_ms) {
    for (; next < output.size() && output[next].at - **zero <= t; ++next) played = output[next].hz * 20;
    double low = 1e9, high = 0;
    for (Nanos u = t - lag; u <= t + lag; u += ns_per_ms) {
      low = std::min(low, profile.rpm_at(u));
      high = std::max(high, profile.rpm_at(u));
    }
    EXPECT_GE(played, low - bound) << to_seconds(t);
    EXPECT_LE(played, high + bound) << to_seconds(t);
  }
}

TEST_F(Scpi, AmplitudeAndOffsetAreSetBeforeTheOutputIsOn) {
  generator_is();
  run(gauge, {Hold{2000, 300 * ns_per_ms}});
  const std::vector<std::string> messages = generator->messages();
  const auto first = [&](const std::string& start) {
    return std::find_if(messages.begin(), messages.end(),
                        [&](const auto& m) { return m.find(start) != m.npos; });
  };
  EXPECT_LT(first("VOLT 5;"), first("OUTP ON"));
  EXPECT_LT(first("VOLT:OFFS 2.5;"), first("OUTP ON"));
  EXPECT_LT(first("OUTP OFF"), first("VOLT 5;"));
  ASSERT_GE(messages.size(), 3U);
  EXPECT_THAT(std::vector(messages.end() - 3, messages.end()),
              testing::ElementsAre("OUTP OFF;:OUTP?", "SYST:LOC", "SYST:ERR?"));
}

TEST_F(Scpi, StandstillIsTheOutputOff) {
  generator_is();
  run(gauge, {Hold{0, 300 * ns_per_ms}, Hold{1000, 300 * ns_per_ms}, Hold{0, 300 * ns_per_ms}});
  int on = 0;
  for (const OutputState& state : generator->output()) on += state.hz > 0;
  EXPECT_EQ(on, 1);
  EXPECT_FALSE(generator->output_on());
}

TEST_F(Scpi, TheJournalHasWhatWasReadBack) {
  generator_is();
  run(gauge, {Hold{2000, 300 * ns_per_ms}});
  std::stringstream text;
  text << std::ifstream(scratch / "run" / "journal.jsonl").rdbuf();
  EXPECT_THAT(text.str(), HasSubstr(R"({"kind":"played","due_s":0.0,)"));
  EXPECT_THAT(text.str(), HasSubstr(R"("hz":100.0})"));
}

TEST_F(Scpi, AStoppedRunIsUndecidedWithTheOutputOff) {
  generator_is();
  RunHooks hooks;
  hooks.stop = [&]() -> std::optional<std::string> {
    if (!generator->output_on()) return std::nullopt;
    return "the run was stopped by SIGINT";
  };
  const RunResult result = run(gauge, up_and_down(), hooks);
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_FALSE(generator->output_on());
}

TEST_F(Scpi, ASurveyKnowsTheThresholdsWithinItsUncertainty) {
  generator_is();
  Rig rig = on_the_generator(gauge);
  const SurveySetup setup = survey_setup_of(rig, 2.5);
  SurveyPlanner planner(gauge, setup);
  const SurveyEvidence evidence = play_survey([&](const SurveyView& view) { return planner.next(view); },
                                              gauge.pulses_per_rev, rig, nullptr);
  const RunResult result = judge_evidence(gauge, setup.judge, evidence, nullptr);
  EXPECT_TRUE(result.complete);
  EXPECT_FALSE(generator->output_on());
  ASSERT_EQ(result.boundaries.size(), 2U);
  for (const BoundaryResult& row : result.boundaries)
    EXPECT_LT(std::abs(row.threshold_rpm - row.nominal_rpm), row.expanded_uncertainty_rpm);
}

// ---- instruments that fail ------------------------------------------------------------

TEST_F(Scpi, AGeneratorThatHangsUpLeavesAnUndecidedRun) {
  GeneratorNature nature;
  nature.hangs_up_at = 60;
  const std::string message = lost(nature);
  EXPECT_EQ(message,
            "the generator at " + setting.address + " is gone: it has hung up; its output is off, confirmed");
  EXPECT_FALSE(generator->output_on());
}

TEST_F(Scpi, AGeneratorThatFallsSilentIsReachedAgainAndSwitchedOff) {
  GeneratorNature nature;
  nature.silent_at = 60;
  const std::string message = lost(nature);
  EXPECT_THAT(message, AllOf(StartsWith("the generator at " + setting.address + " did not answer `FREQ "),
                             EndsWith("` within 250 ms; its output is off, confirmed")));
  EXPECT_FALSE(generator->output_on());
}

TEST_F(Scpi, AGeneratorThatIsGoneForGoodMayStillBeOnAndThatIsSaid) {
  GeneratorNature nature;
  nature.hangs_up_at = 60;
  nature.deaf_when_lost = true;
  EXPECT_THAT(lost(nature),
              HasSubstr("it has hung up; its output may still be on: switch it off at the instrument"));
}

TEST_F(Scpi, AnAnswerThatMakesNoSenseLeavesAnUndecidedRun) {
  GeneratorNature nature;
  nature.garbage_at = 60;
  EXPECT_THAT(lost(nature), AllOf(HasSubstr(" Hz and answers '\\x01\\xff\\x7f#'"),
                                  EndsWith("; its output is off, confirmed")));
}

TEST_F(Scpi, AWordOfTheGeneratorIsShownAsWhatItIsAndEndsNoRun) {
  GeneratorNature nature;
  nature.name =
      "Tarn\x1b]0;x\x07,T\xff,\xC2\x9B"
      "31m,\xE2\x80\xAE";
  generator_is(nature);
  EXPECT_THAT(source()->facts().description, HasSubstr("(Tarn\\x1b]0;x\\x07,T\\xff,\\u009b31m,\\u202e)"));
  EXPECT_EQ(run(gauge, up_and_down()).verdict, Verdict::pass);

  nature.complains = "-113,\"Undefined\x1b[2J\xff\"";
  generator_is(nature);
  EXPECT_THAT(error_of([&] { source(); }), HasSubstr("its error queue: -113,\"Undefined\\x1b[2J\\xff\""));
}

TEST_F(Scpi, AFrequencyThatWasNotTakenLeavesAnUndecidedRun) {
  GeneratorNature nature;
  nature.wrong_at = 60;
  EXPECT_THAT(lost(nature), HasSubstr(" Hz and answers '12.5'"));
}

TEST_F(Scpi, AChangeThatIsReadBackTooLateLeavesAnUndecidedRun) {
  GeneratorNature nature;
  nature.late_at = 60;
  nature.late_by = 30 * ns_per_ms;
  EXPECT_THAT(
      lost(nature),
      HasSubstr(" s was read back 28.0 ms too late: `answer_ms` in the rig file is 6.0 ms, so give it more"));
  EXPECT_FALSE(generator->output_on());
}

TEST_F(Scpi, ASlowGeneratorIsRefusedBeforeTheRun) {
  GeneratorNature nature;
  nature.answers_in = 9 * ns_per_ms;
  generator_is(nature);
  EXPECT_EQ(error_of([&] { source()->begin(); }),
            "the generator at " + setting.address +
                " takes up to 9.0 ms to answer, and the rig file allows 6.0 ms: set `answer_ms: 14`; its "
                "output is off, confirmed");
}

TEST_F(Scpi, AGeneratorThatLosesHastyCommandsIsGivenTime) {
  GeneratorNature nature;
  nature.loses_within = 10 * ns_per_ms;
  generator_is(nature);
  EXPECT_EQ(run(gauge, up_and_down()).verdict, Verdict::pass);
}

TEST_F(Scpi, AnUndefinedHeaderIsToldWithTheErrorQueue) {
  GeneratorNature nature;
  nature.knows_load = false;
  setting.load_ohm = 0;
  generator_is(nature);
  EXPECT_EQ(
      error_of([&] { source(); }),
      "the generator at " + setting.address +
          " did not answer `OUTP:LOAD INF;:OUTP:LOAD?` within 250 ms; its error queue: -113,\"Undefined "
          "header\"; its output is off, confirmed");
}

TEST_F(Scpi, AnAmplitudeOutOfRangeIsToldWithTheErrorQueue) {
  GeneratorNature nature;
  nature.most_v = 4;
  generator_is(nature);
  EXPECT_THAT(
      error_of([&] { source(); }),
      HasSubstr(
          " did not answer `VOLT 5;:VOLT?` within 250 ms; its error queue: -222,\"Data out of range\""));
}

// ---- another hand ---------------------------------------------------------------------

// What the run says of a change that came in its middle, by a trip or a hand.
TEST_F(Scpi, AnOverloadThatSwitchesTheOutputOffIsNoticed) {
  GeneratorNature nature;
  nature.trips_after = ns_per_s;
  const std::string message = lost(nature);
  EXPECT_THAT(
      message,
      AllOf(StartsWith("the generator at " + setting.address + " no longer does what was set: at "),
            HasSubstr(" s its output is off (set: on); its error queue: +501,\"Output overload\"; at "),
            HasSubstr(" s all was well. An overload, a hand at its front panel or another program has "
                      "changed it: find out which, then run again"),
            EndsWith("; its output is off, confirmed")));
}

TEST_F(Scpi, AnAmplitudeChangedByAnotherHandIsNoticed) {
  GeneratorNature nature;
  nature.hand_after = ns_per_s;
  nature.hand_volts = 4;
  EXPECT_THAT(lost(nature), HasSubstr(" s its amplitude is 4 Vpp (set: 5); at "));
  EXPECT_FALSE(generator->output_on());
}

TEST_F(Scpi, AnOffsetAndAWaveChangedByAnotherHandAreNoticed) {
  GeneratorNature nature;
  nature.hand_after = ns_per_s;
  nature.hand_offset = 0;
  nature.hand_sine = true;
  EXPECT_THAT(lost(nature),
              HasSubstr(" s its wave is 'SIN' (set: 'SQU'), its offset is 0 V (set: 2.5); at "));
}

TEST_F(Scpi, ALoadChangedByAnotherHandIsNoticed) {
  GeneratorNature nature;
  nature.hand_after = ns_per_s;
  nature.hand_load = 50;
  setting.load_ohm = 0;
  EXPECT_THAT(lost(nature), HasSubstr(" s its load is 50 ohm (set: high impedance); at "));
}

// Its answers leave no time to ask for more than the frequency on a ramp.
TEST_F(Scpi, AGeneratorOfSlowAnswersIsLookedAtWhereTheProfileHolds) {
  GeneratorNature nature;
  nature.answers_in = 5 * ns_per_ms;
  nature.trips_after = 100 * ns_per_ms;
  generator_is(nature);
  EXPECT_FALSE(run(gauge, {Hold{2950, ns_per_s}}).complete);
  int asked = 0;
  for (const std::string& message : generator->messages()) asked += message.starts_with("FREQ?;:OUTP?;");
  EXPECT_GT(asked, 8);  // as many before the run, for the time they take
}

TEST_F(Scpi, AFrequencyChangedByAnotherHandInAHoldIsNoticed) {
  GeneratorNature nature;
  nature.hand_after = 100 * ns_per_ms;
  nature.hand_hz = 151;
  generator_is(nature);
  const RunResult result = run(gauge, {Hold{2950, ns_per_s}});
  EXPECT_FALSE(result.complete);
  ASSERT_FALSE(result.findings.empty());
  EXPECT_THAT(result.findings.front().message,
              HasSubstr(" s its frequency is 151 Hz (set: 147.500000); at "));
}

// After the last change nothing is sent: only the look at the end can see it.
TEST_F(Scpi, ATripJustBeforeTheEndIsNoticedAtTheEnd) {
  GeneratorNature nature;
  nature.trips_after = 385 * ns_per_ms;
  generator_is(nature);
  const RunResult result = run(gauge, {Hold{2950, 400 * ns_per_ms}});
  EXPECT_FALSE(result.complete);
  EXPECT_EQ(result.verdict, Verdict::undecided);
  ASSERT_FALSE(result.findings.empty());
  EXPECT_THAT(result.findings.front().message,
              AllOf(HasSubstr("its output is off (set: on)"), EndsWith("; its output is off, confirmed")));
}

TEST_F(Scpi, ItsKeysAreLockedDuringTheRunAndFreeAfterIt) {
  generator_is();
  RunHooks hooks;
  bool locked = false;
  hooks.stop = [&]() -> std::optional<std::string> {
    locked = locked || generator->keys_locked();
    return std::nullopt;
  };
  const RunResult result = run(gauge, {Hold{2000, 300 * ns_per_ms}}, hooks);
  EXPECT_TRUE(locked);
  EXPECT_TRUE(result.complete);
  EXPECT_FALSE(generator->keys_locked());
}

TEST_F(Scpi, AModelThatCannotLockItsKeysPlaysAllTheSameAndANoteSaysSo) {
  GeneratorNature nature;
  nature.locks_keys = false;
  generator_is(nature);
  const RunResult result = run(gauge, {Hold{2000, 300 * ns_per_ms}});
  EXPECT_TRUE(result.complete);
  EXPECT_THAT(result.notes,
              testing::Contains(StartsWith(
                  "the generator's keys could not be locked (it answers '-113,\"Undefined header\"' "
                  "to `SYST:RWL`)")));
  EXPECT_EQ(generator->messages().back(), "OUTP OFF;:OUTP?");
}

TEST_F(Scpi, ItsAddressIsOnlyOursWhileItIsOpen) {
  generator_is();
  std::unique_ptr<Instrument> first = open();
  EXPECT_EQ(error_of([&] { open(); }),
            "opening the generator at " + setting.address + ": this program is using it already");
  // By another name it is the same one.
  setting.address = "localhost" + setting.address.substr(setting.address.find(':'));
  EXPECT_THAT(error_of([&] { open(); }), EndsWith(": this program is using it already"));
  first.reset();
  EXPECT_EQ(error_of([&] { open(); }), "none");
}

// ---- stopped --------------------------------------------------------------------------

TEST_F(Scpi, AStoppedRunSaysThatTheOutputIsOff) {
  generator_is();
  RunHooks hooks;
  hooks.stop = [&]() -> std::optional<std::string> {
    if (!generator->output_on()) return std::nullopt;
    return "the run was stopped at the keyboard (Ctrl-C)";
  };
  const RunResult result = run(gauge, up_and_down(), hooks);
  ASSERT_EQ(result.findings.size(), 1U);
  EXPECT_EQ(result.findings.front().message,
            "the run was stopped at the keyboard (Ctrl-C); the generator's output is off, confirmed");
  EXPECT_FALSE(generator->keys_locked());
}

TEST_F(Scpi, AStoppedRunOnAMuteGeneratorSaysThatTheOutputMayStillBeOn) {
  generator_is();
  RunHooks hooks;
  hooks.stop = [&]() -> std::optional<std::string> {
    if (!generator->output_on()) return std::nullopt;
    generator->fall_mute(true);
    return "the run was stopped at the keyboard (Ctrl-C)";
  };
  const RunResult result = run(gauge, up_and_down(), hooks);
  ASSERT_EQ(result.findings.size(), 1U);
  EXPECT_THAT(result.findings.front().message,
              AllOf(StartsWith("the run was stopped at the keyboard (Ctrl-C); the generator at "),
                    HasSubstr(" did not answer `FREQ?;:OUTP?;"),
                    HasSubstr("its output may still be on: switch it off at the instrument")));
  // It was told to, though it could not say so.
  EXPECT_FALSE(generator->output_on());
}

// Without the hurry this would wait for an hour.
TEST_F(Scpi, ASecondSignalMakesWaitingShort) {
  generator_is();
  const std::unique_ptr<InstrumentLink> link = open_instrument({setting.address, setting.baud});
  generator->fall_mute(false);
  link->write("*IDN?");
  hurry();
  EXPECT_EQ(link->read(3600 * ns_per_s), std::nullopt);
  no_hurry();
}

// ---- what it cannot do ------------------------------------------------------------------

TEST_F(Scpi, SaysBeforeTheStartWhatItCannotPlay) {
  generator_is();
  const std::unique_ptr<ScpiSource> from = source();
  const Profile profile(up_and_down());
  Noise noise;
  EXPECT_EQ(from->cannot_play({profile, 3, noise}), std::nullopt);
  noise.missing = 0.01;
  EXPECT_EQ(from->cannot_play({profile, 3, noise}),
            "a signal generator plays an even wave: it cannot leave pulses out or double them");
  noise = {};
  noise.firing = {0, 0.4, -0.4};
  EXPECT_EQ(from->cannot_play({profile, 3, noise}),
            "a signal generator plays an even wave: it cannot play a firing pattern");
  noise = {};
  noise.jitter_us = 5;
  EXPECT_EQ(from->cannot_play({profile, 3, noise}),
            "a signal generator plays an even wave: it cannot play the scenario's noise");
  EXPECT_EQ(from->cannot_play({profile, 3, {}, true}),
            "a dwell plays noise, and a signal generator plays an even wave");
  EXPECT_FALSE(from->can_press("capture"));
}

TEST_F(Scpi, AFrequencyBeyondItIsFoundBeforeTheStart) {
  GeneratorNature nature;
  nature.most_hz = 150;  // 3000 rpm with 3 pulses
  generator_is(nature);
  const std::unique_ptr<ScpiSource> from = source();
  const Profile profile(up_and_down());
  EXPECT_THAT(from->cannot_play({profile, 3, {}}).value_or(""),
              AllOf(StartsWith("it cannot play the fastest rpm: "), HasSubstr("-222,\"Data out of range\"")));
  EXPECT_FALSE(generator->output_on());
}

// ---- the ways to it -----------------------------------------------------------------------

TEST_F(Scpi, SpeaksOverASerialLineToo) {
  generator_is({}, SimulatedGenerator::Door::terminal);
  EXPECT_TRUE(run(gauge, {Hold{2000, 300 * ns_per_ms}}).complete);
  EXPECT_FALSE(generator->output_on());
}

// A terminal in place of the driver's device: reads block in both.
TEST_F(Scpi, SpeaksToAUsbDeviceThroughAThreadOfItsOwn) {
  generator_is({}, SimulatedGenerator::Door::terminal);
  setting.address = (scratch / "usbtmc0").string();
  std::filesystem::create_symlink(generator->address(), setting.address);
  EXPECT_TRUE(run(gauge, {Hold{2000, 300 * ns_per_ms}}).complete);
  EXPECT_FALSE(generator->output_on());
}

TEST_F(Scpi, ABareNewlineBeforeTheNameDoesNotConfuseIt) {
  GeneratorNature nature;
  nature.bare_newline_first = true;
  generator_is(nature);
  EXPECT_EQ(open()->identity(), "Tarn Instruments,TG1,0042,1.0");
}

TEST_F(Scpi, NobodyThereIsOneClearSentence) {
  generator_is();
  generator.reset();
  EXPECT_EQ(error_of([&] { open(); }), "opening the generator at " + setting.address +
                                           ": Connection refused; is it on, and is this its raw socket?");
  setting.address = "127.0.0.1:99999";
  EXPECT_EQ(
      error_of([&] { open(); }),
      "opening the generator at 127.0.0.1:99999: there is no port 99999: ports are numbered 1 to 65535");
  setting.address = "/dev/usbtmc99";
  EXPECT_EQ(error_of([&] { open(); }),
            "opening the generator at /dev/usbtmc99: there is no such device; `tachproof ports` lists those "
            "connected");
}

}  // namespace
}  // namespace tachproof

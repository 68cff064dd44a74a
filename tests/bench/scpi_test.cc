// A signal generator as the source, through real sockets and in virtual time.
#include "bench/rigs/scpi/scpi_source.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <sstream>

#include "bench/rigs/last_words.h"
#include "bench/rigs/scpi/instrument.h"
#include "bench/run/survey_run.h"
#include "tests/bench/approved.h"
#include "tests/bench/error_of.h"
#include "tests/bench/scpi_bench.h"

namespace tachproof {
namespace {

using test::GeneratorNature, test::OutputState, test::Scpi, test::SimulatedGenerator, test::up_and_down;
using testing::AllOf;
using testing::HasSubstr;
using testing::StartsWith;

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

// Passes everything on, and keeps the answers.
class RecordedEdges : public InstrumentLink {
 public:
  RecordedEdges(std::unique_ptr<InstrumentLink> link, std::string& answers)
      : link_(std::move(link)), answers_(answers) {}
  void write(const std::string& message) override { link_->write(message); }
  std::optional<std::string> read(Nanos within) override {
    std::optional<std::string> answer = link_->read(within);
    if (answer) answers_ += *answer + "\n";
    return answer;
  }
  int descriptor() const override { return link_->descriptor(); }

 private:
  std::unique_ptr<InstrumentLink> link_;
  std::string& answers_;
};

// What the fuzz target begins with must go through all of a run: it asks for these things in this order,
// and for a load when the answers are an even number of bytes.
TEST_F(Scpi, TheStoredAnswersForFuzzingAreThoseOfAWholeRun) {
  for (const bool load : {true, false}) {
    generator_is();
    ScpiSetting asked;
    asked.address = setting.address;
    asked.amplitude_v = 5;
    if (load) asked.load_ohm = 50;
    std::string answers;
    {  // its end frees the keys, which is a part of it
      Instrument instrument(asked, clock, [&] {
        return std::make_unique<RecordedEdges>(open_instrument({asked.address, asked.baud}), answers);
      });
      instrument.set_up();
      instrument.answer_times();
      double read_back = 0;
      instrument.start(100, read_back);
      instrument.set_frequency(200, read_back);
      instrument.stop();
      instrument.make_silent();
    }
    if (answers.size() % 2 != (load ? 0 : 1)) answers += "\n";
    expect_approved(std::string("../../fuzz/corpus/scpi/") + (load ? "whole-run" : "whole-run-without-load"),
                    answers);
  }
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

// A signal generator that fails in the middle of a run, or that another hand changes: the run is undecided,
// the reason is said, and the output is off or said to be on.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "bench/rigs/scpi/scpi_source.h"
#include "tests/bench/error_of.h"
#include "tests/bench/scpi_bench.h"

namespace tachproof {
namespace {

using test::GeneratorNature, test::Scpi, test::up_and_down;
using testing::AllOf;
using testing::EndsWith;
using testing::HasSubstr;
using testing::StartsWith;

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

}  // namespace
}  // namespace tachproof

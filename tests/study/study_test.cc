// The study's own parts, and the small share of it that runs with every build.
#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>

#include "tests/study/evidence.h"
#include "tests/study/tally.h"
#include "tests/study/tally_json.h"

namespace tachproof::study {
namespace {

Gauge ladder() {
  Gauge gauge;
  gauge.name = "ladder";
  gauge.pulses_per_rev = 3;
  gauge.lamps = {{"left", {"white", "blue"}}, {"right", {"magenta"}}};
  gauge.windows = {
      {"low", 0, {}}, {"near", 4000, {1, 0}}, {"at", 4200, {1 | 4, 0}}, {"over", 4400, {0, 1 | 4}}};
  gauge.deadband = {8, Sits::below};
  gauge.blink = Blink{4, 0.5};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 150 * ns_per_ms;
  return gauge;
}

Unit unit_for(const Gauge& gauge) {
  const PlainGauge plain(gauge);
  Unit unit;
  unit.pulses_per_rev = plain.pulses_per_rev;
  unit.rising = plain.rising;
  unit.falling = plain.falling;
  unit.cues = plain.cues;
  unit.blink_hz = plain.blink_hz;
  unit.blink_duty = plain.blink_duty;
  unit.late_s.assign(static_cast<std::size_t>(plain.channels), 0);
  unit.pulses = 4;
  unit.delay_up_s = unit.delay_down_s = 0.01;
  return unit;
}

Road slowly_over_all(const Gauge&) {
  Road road;
  road.hold_at(3900, 2);
  road.ramp(4600, 20);
  road.hold(4);
  road.ramp(3900, 20);
  road.hold(2);
  return road;
}

Told told(const Gauge& gauge, const Unit& unit, const Road& road, bool faulty,
          const std::vector<double>& odd = {}) {
  const Oracle oracle(gauge, road, odd, odd, true, 0);
  const Shown shown = watch(unit, road.pulses(gauge.pulses_per_rev, -3, 0.2), -3, road.duration_s());
  return oracle.tell(unit, shown, faulty);
}

class EachReading : public testing::TestWithParam<Reading> {};

TEST_P(EachReading, IsAsLateOnASlowRampAsItsPhysicsSays) {
  const Gauge gauge = ladder();
  Unit unit = unit_for(gauge);
  unit.reading = GetParam();
  unit.tau_s = 0.015;
  unit.gate_s = 0.04;
  unit.omega = 80;
  if (unit.reading == Reading::counts) unit.pulses_per_rev = 60;  // else it could not tell 4000 rpm from 4400
  const double ppr = unit.pulses_per_rev, p = 60 / (ppr * 4000);
  Road road = slowly_over_all(gauge);
  const Shown shown = watch(unit, road.pulses(ppr, -3, 0.2), -3, road.duration_s());
  ASSERT_GE(shown.windows.size(), 3U);
  const double over_at = 2 + (unit.rising[1] - 3900) / 20, late = shown.windows[1].at_s - over_at;
  const double counted =
      unit.reading == Reading::counts ? 60 / (ppr * unit.gate_s) / 20 : 0;  // a count early or late
  EXPECT_EQ(shown.windows[1].window, 1U);
  EXPECT_GE(late, unit.least_delay_s(4000, true) - p - counted);
  EXPECT_LE(late, unit.most_delay_s(4000, true) + p + counted);
}

INSTANTIATE_TEST_SUITE_P(All, EachReading,
                         testing::Values(Reading::pulses, Reading::exponential, Reading::gate,
                                         Reading::counts, Reading::loop));

TEST(StudyRoad, APulseComesAtEveryThirdOfATurn) {
  Road road;
  road.hold_at(6000, 0.105);
  road.ramp(8000, 1000);
  const std::vector<double> pulses = road.pulses(3, 0, 0);
  // 10.5 turns, then 6000 to 8000 rpm in 2 s: 233.3 turns.
  EXPECT_EQ(pulses.size(), 731U);
  EXPECT_NEAR(pulses[0], 60.0 / 6000 / 3, 1e-12);
}

TEST(StudyOracle, CallsAUnitAsSetSound) {
  EXPECT_EQ(told(ladder(), unit_for(ladder()), slowly_over_all(ladder()), false).truth, Truth::sound);
}

TEST(StudyOracle, CallsAThresholdBeyondItsToleranceUnsoundWhateverTheSidesLookLike) {
  for (const std::size_t b : {1U, 2U, 3U}) {
    Unit unit = unit_for(ladder());
    unit.rising[b] += 4;
    EXPECT_EQ(told(ladder(), unit, slowly_over_all(ladder()), true).truth, Truth::unsound) << b;
  }
}

TEST(StudyOracle, CallsAThresholdUnsoundWhereTheDriveOnlyJumpsOverIt) {
  Unit unit = unit_for(ladder());
  unit.rising[2] += 20;
  Road road;
  road.hold_at(3900, 2);
  road.hold_at(4600, 2);
  road.hold_at(3900, 2);
  EXPECT_EQ(told(ladder(), unit, road, true).truth, Truth::unsound);
}

TEST(StudyOracle, HoldsNothingAgainstAUnitThatTheDriveDoesNotReach) {
  Unit unit = unit_for(ladder());
  unit.rising[3] += 20;
  Road road;
  road.hold_at(3900, 2);
  road.ramp(4300, 20);
  road.ramp(3900, 20);
  EXPECT_EQ(told(ladder(), unit, road, true).truth, Truth::between);
}

TEST(StudyOracle, ForgivesAnOddPulseForAsLongAsItIsAveragedAndNoLonger) {
  const Cue another{1 | 4, 0}, none{2, 0};  // a window's, and no window's
  const auto shows = [](const Cue& cue, double from, double until) {
    Unit unit = unit_for(ladder());
    unit.spells.push_back({Spell::Kind::picture, from, until, 0, cue});
    return told(ladder(), unit, slowly_over_all(ladder()), true, {0.9}).truth;
  };
  EXPECT_EQ(shows(another, -3, 1.5), Truth::unsound);
  EXPECT_EQ(shows(another, 0.9, 1.05), Truth::between);
  EXPECT_EQ(shows(none, 0.9, 1.05), Truth::unsound);
}

TEST(StudyOracle, CallsAUnitThatTakesBouncesForPulsesUnsound) {
  const Gauge gauge = ladder();
  const Road road = slowly_over_all(gauge);
  Draw draw(1, 1);
  Spoiled by;
  by.bounce = 1;
  by.bounce_us = 100;
  const TachLine line = spoil(road.pulses(3, -3, 0), by, road.duration_s(), draw);
  const Oracle oracle(gauge, road, line.odd, line.odd, true, 0);
  Unit unit = unit_for(gauge);
  EXPECT_EQ(oracle.tell(unit, watch(unit, line.rises, -3, road.duration_s()), true).truth, Truth::unsound);
  unit.holdoff_s = 150e-6;
  EXPECT_EQ(oracle.tell(unit, watch(unit, line.rises, -3, road.duration_s()), false).truth, Truth::sound);
}

TEST(StudyPairs, AreTheSameForTheSameSeed) {
  EXPECT_EQ(draw_pair(5, 7).describe(), draw_pair(5, 7).describe());
  EXPECT_NE(draw_pair(5, 7).describe(), draw_pair(6, 7).describe());
}

class Judged : public testing::Test {
 protected:
  ~Judged() override { std::filesystem::remove_all(scratch_); }
  RunResult judged(const Pair& pair) { return judge(pair, scratch_ / std::to_string(pair.number)); }
  std::filesystem::path scratch_ =
      std::filesystem::temp_directory_path() / ("study-tests-" + std::to_string(getpid()));
};

// Pairs that were judged wrong once: an unsound unit that passed, a sound one that failed, or a
// recording on which the program crashed.
struct Once {
  const char* name;
  std::uint64_t number;
  std::uint64_t seed = 1;
};

class JudgedWrongOnce : public Judged, public testing::WithParamInterface<Once> {};

TEST(StudyShares, SayWhichIsMissingOrOfAnotherStudy) {
  Share share{7, 100, 1, 2, 1.5, {}};
  share.tally.sound.add(Verdict::pass);
  share.tally.unsound_by_fault["freezes"].add(Verdict::fail);
  share.tally.wrong.push_back({3, Verdict::pass, "pair 3", "passed"});
  Share other = share_from_json(share_json(share));
  EXPECT_EQ(other.tally.markdown(), share.tally.markdown());
  const auto said = [](const std::vector<Share>& shares) -> std::string {
    try {
      merged(shares);
    } catch (const std::runtime_error& e) {
      return e.what();
    }
    return "";
  };
  EXPECT_EQ(said({share}), "share 2/2 is missing");
  EXPECT_EQ(said({share, other}), "share 1/2 was given twice");
  other.part = 2;
  EXPECT_EQ(said({share, other}), "");
  EXPECT_EQ(merged(std::vector{share, other}).tally.wrong.size(), 2U);
  other.seed = 8;
  EXPECT_EQ(said({share, other}),
            "share 1/2 is of 100 pairs of seed 7, share 2/2 of 100 of seed 8: not of one study");
}

TEST_P(JudgedWrongOnce, IsNotAnyMore) {
  const Pair pair = draw_pair(GetParam().seed, GetParam().number);
  const RunResult result = judged(pair);
  EXPECT_NE(result.verdict, pair.told.truth == Truth::sound ? Verdict::fail : Verdict::pass)
      << pair.describe() << "\n"
      << said(result, false);
}

INSTANTIATE_TEST_SUITE_P(
    Study, JudgedWrongOnce,
    testing::Values(
        Once{"ABlinkOnlyBoundaryMoved", 37}, Once{"ABlinkOnlyBoundaryMovedInARecordingOfFineStamps", 121},
        Once{"ABlinkOnlyBoundaryMovedBothWays", 449}, Once{"ABoundaryMovedOneWay", 35},
        Once{"DeadbandOnTheOtherSideUnderJumpsOnly", 69}, Once{"AnAnchorMoved", 96},
        Once{"DeadbandMissing", 232}, Once{"DeadbandOfAnotherWidth", 386},
        Once{"CountInUnevenUnderBounce", 178}, Once{"ResponseTooSlowUp", 580},
        Once{"ResponseTooSlowBothWays", 845}, Once{"ResponseTooSlowDown", 1516}, Once{"MisledByBounce", 58},
        Once{"FreezesUnderBounce", 337}, Once{"PulsesPerRevolutionUnderBounce", 1191},
        Once{"AWrongCueUnderGlitchesOnTheTachLine", 1716}, Once{"AWrongCueAtTheBeginning", 608},
        Once{"ABlinkRateUnderBounce", 1406}, Once{"SoundLampsApartAfterJumps", 2},
        Once{"SoundDimmedAfterJumps", 102}, Once{"SoundWithGlitchesOnLampLines", 36},
        Once{"SoundWithBlinksAndMissingPulses", 119}, Once{"SoundWithCoarseStamps", 156},
        Once{"SoundWithOtherResponseUpThanDown", 552}, Once{"SoundWithBounceThatDoublesTheRpm", 75},
        Once{"SoundWithAGlitchWhereABoundaryIsOpen", 265}, Once{"ACrashOnBounce", 27},
        Once{"AnotherCrashOnBounce", 34}, Once{"ABoundaryMovedUnderScriptedWander", 1187},
        Once{"ABoundaryMovedUnderScriptedJitter", 1600, 2}, Once{"SoundUnderJumpsThatEndNearAThreshold", 829},
        Once{"SoundLampsApartOverManyWindows", 961}, Once{"EarlyAtTheEnd", 13295, 2},
        Once{"SoundUnderJumpsWithAGlitch", 1183}, Once{"SoundWithAnEdgeThatIsNoPulse", 1881},
        Once{"OneOfThreeBlinkingLampsDarkForAWhile", 14391, 1129},
        Once{"SoundWithOneFastVisitAndAStep", 4403, 1129}, Once{"SoundWithOneSlowVisitAndAStep", 7897, 1129},
        Once{"SoundWithVisitsThatContradictEachOther", 674, 1129},
        Once{"OneOfTwoBlinkingLampsDarkForAWhile", 6145, 2},
        Once{"NoWindowsPictureInTheFirstResponse", 6190, 2}, Once{"FreezesForAMoment", 8355, 3},
        Once{"SoundWhereARecordingBeginsBeforeARamp", 13050, 3},
        Once{"ABlinkOnlyBoundaryWithAQuickAnswerUp", 2621, 4409},
        Once{"LateWithADoubledPulseAtTheChange", 1973, 20281},
        Once{"LateWithAMissingPulseBefore", 16950, 20281},
        Once{"LateWithAMissingPulseAndATurnOfTheDrive", 19011, 60013}),
    [](const testing::TestParamInfo<Once>& one) { return std::string(one.param.name); });

TEST_F(Judged, NoneOfAHundredPairsIsJudgedWrong) {
  Tally tally;
  for (std::uint64_t n = 1; n <= 100; ++n) {
    const Pair pair = draw_pair(20'000, n);
    tally.add(pair, judged(pair));
  }
  for (const Wrong& wrong : tally.wrong) ADD_FAILURE() << wrong.pair << "\n" << wrong.said;
}

}  // namespace
}  // namespace tachproof::study

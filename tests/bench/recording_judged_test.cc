// Recordings of simulated units, spoiled as real ones are, and judged by their files.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/bench/judged_unit.h"
#include "tests/bench/recorded_unit.h"

namespace tachproof {
namespace {

using test::RecordedUnit;
using testing::Contains;
using testing::HasSubstr;

Gauge two_lamps() {
  ScratchFolder scratch;
  return load_gauge(scratch.write("gauge.yaml", R"(format: 1
kind: gauge
name: Two-lamp gauge
pulses_per_rev: 3
anchors: {pit: 3000}
lamps:
  - {id: near, colours: [white]}
  - {id: far, colours: [magenta]}
windows:
  - {name: calm, from: 0, show: {}}
  - {name: brisk, from: {pit: 0}, show: {near: white}}
  - {name: hasty, from: {pit: 1000}, show: {near: white, far: magenta}}
deadband: {rpm: 10, sits: below}
tolerance: {rpm: 3, response_ms: {from: 0, to: 120}, settle_ms: 10}
)"));
}

struct Recordings : testing::Test {
  Gauge gauge = two_lamps();
  Gauge runs = gauge;
  std::vector<Step> steps = test::proving_steps(gauge);
  Profile profile{steps};
  RecordedUnit unit{gauge, runs, profile};
  ScratchFolder scratch;

  Recordings() { unit.behaviour.response_ms = 20; }

  // Every boundary of the unit.
  void move_anchor(double by_rpm) {
    for (std::size_t w = 1; w < runs.windows.size(); ++w) runs.windows[w].from_rpm += by_rpm;
  }
  PlayedScenario played(const std::vector<Step>& what) const {
    ScenarioFile scenario;
    scenario.name = "proving";
    scenario.steps = what;
    scenario.judge.thresholds = true;
    return played_scenario(scenario);
  }
  RunResult judged(const PlayedScenario* scenario = nullptr) {
    unit.write(scratch / "capture.vcd");
    const OpenRecording recording =
        open_for_judging(scratch / "capture.vcd", test::capture_wiring(gauge), gauge, scenario);
    RunRecord record;
    record.gauge = gauge;
    RunFolder folder = RunFolder::create(scratch / ("run" + std::to_string(++runs_)), record);
    return judge_recording(recording, folder).result;
  }
  std::string refused(const PlayedScenario& scenario) {
    try {
      judged(&scenario);
    } catch (const RecordingError& e) {
      return e.what();
    }
    return "";
  }

 private:
  int runs_ = 0;
};

constexpr Nanos just_bounce = 450 * ns_per_us;  // half a period at 20,000 rpm is 500 us

TEST_F(Recordings, ContactBounceIsLeftOutAndToldAndASoundUnitPasses) {
  for (const int one_in : {10, 1}) {
    unit.tach = [=](const auto& pulses) {
      return test::bounced(test::square(pulses), one_in, just_bounce, 3);
    };
    const RunResult result = judged();
    EXPECT_EQ(result.verdict, Verdict::pass) << one_in << ": " << test::told(result);
    EXPECT_THAT(result.notes, Contains(HasSubstr("tach edges were contact bounce (closer than 500 us")));
  }
}

TEST_F(Recordings, ContactBounceHidesNoUnsoundUnit) {
  for (const int one_in : {10, 1}) {
    unit.tach = [=](const auto& pulses) {
      return test::bounced(test::square(pulses), one_in, just_bounce, 3);
    };
    unit.behaviour.faults = {{"boundary-moved", {{"boundary", "hasty"}}, {{"by_rpm", 12}}}};
    EXPECT_EQ(judged().verdict, Verdict::fail) << one_in;
    unit.behaviour.faults.clear();
    move_anchor(150);
    EXPECT_EQ(judged().verdict, Verdict::fail) << one_in;
    move_anchor(-150);
  }
}

TEST_F(Recordings, ALineThatIsMoreBounceThanTachIsUndecided) {
  unit.tach = [](const std::vector<Nanos>& pulses) {
    std::vector<test::LineEdge> line;
    for (const test::LineEdge& edge : test::square(pulses)) {
      line.push_back(edge);
      for (int k = 1; edge.high && k <= 40; ++k) line.push_back({edge.at + k * 10 * ns_per_us, k % 2 == 0});
    }
    return line;
  };
  const RunResult result = judged();
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_THAT(result.findings, Contains(testing::Field(&Finding::message, HasSubstr("a tach signal of 3"))));
}

TEST_F(Recordings, TheRpmIsFollowedAcrossMissingAndExtraPulses) {
  const std::function<std::vector<Nanos>(const std::vector<Nanos>&)> spoilt[] = {
      [](const auto& pulses) { return test::some_missing(pulses, 10, 5); },
      [](const auto& pulses) { return test::some_extra(pulses, 10, 5); }};
  for (const auto& spoil : spoilt) {
    unit.tach = [&](const auto& pulses) { return test::square(spoil(pulses)); };
    EXPECT_NE(judged().verdict, Verdict::fail);
  }
}

TEST_F(Recordings, EveryVisitedThresholdMustBeProven) {
  // Steps alone tell no threshold.
  std::vector<Step> jumps;
  for (int i = 0; i < 4; ++i)
    for (const double rpm : {2500.0, 3500.0, 4500.0}) jumps.push_back(Hold{rpm, ns_per_s});
  profile = Profile(jumps);
  EXPECT_EQ(judged().verdict, Verdict::undecided);
}

TEST_F(Recordings, AGlitchOnADimmedLampsLineIsNoChange) {
  unit.behaviour.dim = 0.5;
  unit.behaviour.dim_hz = 400;
  unit.lamps = [&](std::vector<LampEvent> lamps) {
    return test::glitched(lamps, gauge.channels(), 3, profile.duration(), 9);
  };
  const RunResult result = judged();
  EXPECT_NE(result.verdict, Verdict::fail) << test::told(result);
}

// ---- laid on the scenario ----------------------------------------------------

TEST_F(Recordings, AScenarioIsLaidOnTheRpmThatWereRecorded) {
  for (const Nanos resolution : {Nanos{1}, Nanos{100}, Nanos{1000}})
    for (const Nanos begins : {Nanos{0}, 1234567 * ns_per_us})
      for (const double ppm : {0.0, 80.0, -80.0}) {
        unit.resolution = resolution;
        unit.begins = begins;
        unit.clock_ppm = ppm;
        const PlayedScenario scenario = played(steps);
        unit.write(scratch / "capture.vcd");
        const OpenRecording recording =
            open_for_judging(scratch / "capture.vcd", test::capture_wiring(gauge), gauge, &scenario);
        const double off_s = (recording.place.offset_ns - static_cast<double>(begins)) / 1e9;
        EXPECT_LE(std::abs(off_s), 4 * recording.place.uncertainty_s + 1e-4)
            << resolution << " " << begins << " " << ppm;
        EXPECT_NEAR(recording.place.stretch * 1e6, ppm, 10) << resolution << " " << begins;
        EXPECT_LT(recording.place.uncertainty_s, 0.001);
      }
}

TEST_F(Recordings, ByItsScenarioARecordingIsJudgedAsTheRunWas) {
  const RunResult run = test::judge_unit(gauge, gauge, unit.behaviour, profile, unit.seed);
  unit.resolution = ns_per_us;
  unit.begins = 300 * ns_per_ms;
  const PlayedScenario scenario = played(steps);
  const RunResult result = judged(&scenario);
  EXPECT_EQ(result.verdict, Verdict::pass) << test::told(result);
  ASSERT_EQ(result.boundaries.size(), run.boundaries.size());
  for (std::size_t i = 0; i < run.boundaries.size(); ++i) {
    EXPECT_NEAR(result.boundaries[i].threshold_rpm, run.boundaries[i].threshold_rpm,
                run.boundaries[i].expanded_uncertainty_rpm);
    EXPECT_LT(result.boundaries[i].expanded_uncertainty_rpm,
              1.5 * run.boundaries[i].expanded_uncertainty_rpm);
  }
  unit.behaviour.faults = {{"boundary-moved", {{"boundary", "hasty"}}, {{"by_rpm", 6}}}};
  EXPECT_EQ(judged(&scenario).verdict, Verdict::fail);
}

TEST_F(Recordings, AnotherScenarioIsRefusedWithTheInstantOfTheLargestDifference) {
  std::vector<Step> other = steps;
  other.insert(other.begin() + 5, Hold{3700, 2 * ns_per_s});
  EXPECT_THAT(
      refused(played(other)),
      testing::AllOf(HasSubstr("does not go with the scenario proving: the tach signal does not follow"),
                     HasSubstr(" s into the recording, it reads ")));
  EXPECT_THAT(refused(played({Hold{3500, 2 * ns_per_s}})), HasSubstr("does not go with the scenario"));
}

TEST_F(Recordings, AScenarioIsLaidOnASpoiledTachAsWell) {
  const std::function<std::vector<Nanos>(const std::vector<Nanos>&)> spoilt[] = {
      [](const auto& pulses) { return test::some_missing(pulses, 200, 5); },
      [](const auto& pulses) { return test::some_extra(pulses, 200, 5); }};
  const PlayedScenario scenario = played(steps);
  for (const auto& spoil : spoilt) {
    unit.tach = [&](const auto& pulses) { return test::square(spoil(pulses)); };
    unit.behaviour.faults.clear();
    EXPECT_NE(judged(&scenario).verdict, Verdict::fail);
    unit.behaviour.faults = {{"boundary-moved", {{"boundary", "hasty"}}, {{"by_rpm", 40}}}};
    EXPECT_NE(judged(&scenario).verdict, Verdict::pass);
  }
}

TEST_F(Recordings, ARecordingOfAPartOfItsScenarioIsUndecided) {
  std::vector<Step> longer = steps;
  longer.push_back(Hold{2000, 3 * ns_per_s});
  const PlayedScenario scenario = played(longer);
  const RunResult result = judged(&scenario);
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_THAT(result.findings,
              Contains(testing::Field(&Finding::message, HasSubstr("before the scenario, which lasts"))));
}

TEST_F(Recordings, AQuestionOfTheScenarioStaysOpen) {
  std::vector<Step> asking = steps;
  asking.push_back(Ask{"Which lamp is on?", Ask::Wants::text, 0, 0, "near"});
  const PlayedScenario scenario = played(asking);
  EXPECT_EQ(judged(&scenario).verdict, Verdict::undecided);
}

}  // namespace
}  // namespace tachproof

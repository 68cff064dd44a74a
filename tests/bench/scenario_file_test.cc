// What scenario and noise files come out as.
#include <gmock/gmock.h>

#include <filesystem>
#include <fstream>

#include "bench/files/readers.h"
#include "bench/files/replay.h"
#include "tests/bench/files_cases.h"

namespace tachproof {
namespace {

using ::testing::DoubleNear;
using ::testing::ElementsAre;

ScenarioFile scenario_of(const std::string& text) {
  ErrorList errors("scenario.yaml");
  const std::optional<YamlTree> tree = parse_yaml(text, errors);
  if (!tree) throw FileErrors(errors.sorted());
  ScenarioFile scenario = read_scenario(*tree->root, "", errors);
  errors.throw_if_any();
  return scenario;
}

TEST(ScenarioFile, GivesEveryStepItsNumbers) {
  const ScenarioFile s = scenario_of(case_text("scenario", "Every step there is"));
  ASSERT_EQ(s.steps.size(), 15U);
  EXPECT_EQ(std::get<Hold>(s.steps[0]).rpm, 2000);
  EXPECT_EQ(std::get<Hold>(s.steps[0]).lasts, 500 * ns_per_ms);
  EXPECT_EQ(std::get<RampByRate>(s.steps[1]).to_rpm, 8200);
  EXPECT_EQ(std::get<RampByRate>(s.steps[1]).rpm_per_s, 150);
  EXPECT_EQ(std::get<RampByTime>(s.steps[2]).to_rpm, 2000.5);
  EXPECT_EQ(std::get<RampByTime>(s.steps[2]).lasts, 300 * ns_per_s);
  EXPECT_EQ(std::get<StepTo>(s.steps[3]).rpm, 3700);
  const Wave wave = std::get<Wave>(s.steps[4]);
  EXPECT_EQ(wave.mean_rpm, 3720);
  EXPECT_EQ(wave.swing_rpm, 40);
  EXPECT_EQ(wave.period, 20 * ns_per_us);
  EXPECT_EQ(wave.lasts, 10 * ns_per_s);
  EXPECT_EQ(std::get<Press>(s.steps[5]).action, "capture");
  EXPECT_EQ(std::get<Press>(s.steps[5]).lasts, 200 * ns_per_ms);
  EXPECT_EQ(std::get<Press>(s.steps[6]).action, "on");
  EXPECT_EQ(std::get<Press>(s.steps[6]).lasts, 100 * ns_per_ms);
  EXPECT_EQ(std::get<PowerOff>(s.steps[7]).lasts, 2 * ns_per_s);
  EXPECT_EQ(std::get<Supply>(s.steps[8]).from_v, 9);
  EXPECT_EQ(std::get<Supply>(s.steps[8]).to_v, 9);
  EXPECT_EQ(std::get<Supply>(s.steps[8]).lasts, 2 * ns_per_s);
  EXPECT_EQ(std::get<Supply>(s.steps[9]).from_v, 12.5);
  EXPECT_EQ(std::get<Supply>(s.steps[9]).to_v, 9);
  EXPECT_EQ(std::get<Supply>(s.steps[9]).lasts, 500 * ns_per_ms);
  const Ask peak = std::get<Ask>(s.steps[10]);
  EXPECT_EQ(peak.question, "Peak shown on the dial, rpm?");
  EXPECT_EQ(peak.wants, Ask::Wants::peak);
  EXPECT_EQ(peak.within, 10);
  const Ask number = std::get<Ask>(s.steps[11]);
  EXPECT_EQ(number.wants, Ask::Wants::number);
  EXPECT_EQ(number.number, 8200);
  EXPECT_EQ(number.within, 0);
  const Ask text = std::get<Ask>(s.steps[12]);
  EXPECT_EQ(text.wants, Ask::Wants::text);
  EXPECT_EQ(text.text, "ready");
  const Ask quoted = std::get<Ask>(s.steps[13]);
  EXPECT_EQ(quoted.wants, Ask::Wants::peak);  // as JSON has to write it
  const Repeat repeat = std::get<Repeat>(s.steps[14]);
  EXPECT_EQ(repeat.times, 3);
  ASSERT_EQ(repeat.steps.size(), 2U);
  EXPECT_EQ(std::get<Hold>(repeat.steps[0]).lasts, 3600 * ns_per_s);
  EXPECT_EQ(std::get<Repeat>(repeat.steps[1]).times, 2);
}

TEST(ScenarioFile, HasTheSeedNoiseAndJudgeItNames) {
  const ScenarioFile s = scenario_of(case_text("scenario", "The base is sound"));
  EXPECT_EQ(s.name, "acceptance");
  EXPECT_EQ(s.seed, 42U);
  EXPECT_EQ(s.noise.jitter_us, 20);
  EXPECT_EQ(s.noise.wander_rpm, 3);
  EXPECT_EQ(s.noise.wander_s, 0.4);
  EXPECT_THAT(s.noise.firing, ElementsAre(0, 0.4, -0.4));
  EXPECT_EQ(s.noise.missing, 1e-5);
  EXPECT_FALSE(s.judge.thresholds);
  EXPECT_TRUE(s.judge.transitions && s.judge.steady && s.judge.blink);
}

TEST(ScenarioFile, WithoutSeedNoiseAndJudgeIsQuietAndJudgesAll) {
  const ScenarioFile s = scenario_of(case_text("scenario", "Seed, noise and judge may be left out"));
  EXPECT_EQ(s.seed, 0U);
  EXPECT_TRUE(s.noise.quiet());
  EXPECT_TRUE(s.judge.transitions && s.judge.steady && s.judge.blink);
  EXPECT_TRUE(s.judge.thresholds);
}

TEST(ScenarioFile, MayHaveTheLongestSeed) {
  EXPECT_EQ(scenario_of(case_text("scenario", "The longest seed")).seed, 18446744073709551615U);
}

TEST(ScenarioFile, MayLastSevenDaysToTheNanosecond) {
  const std::string head = "format: 1\nkind: scenario\nname: long\nprofile:\n";
  EXPECT_NO_THROW(scenario_of(head + "  - {repeat: 7, steps: [{hold: 1, for: 24h}]}\n"));
  EXPECT_THROW(scenario_of(head + "  - {repeat: 7, steps: [{hold: 1, for: 24h}]}\n  - {hold: 1, for: 1ms}\n"),
               FileErrors);
}

// ---- recordings as noise ------------------------------------------------------

TEST(Replay, GivesTheDeviationsFromEvenSpacing) {
  // Four intervals of 1.0, 1.2, 0.8 and 1.0 s: a mean period of 1 s.
  const Replay replay = replay_of("time_s,tach\n0.5,1\n1.5,1\n\n2.7,1\r\n 3.5 ,1\n4.5,1");
  EXPECT_THAT(
      std::get<std::vector<double>>(replay),
      ElementsAre(DoubleNear(0, 1e-12), DoubleNear(0, 1e-12), DoubleNear(0.2, 1e-12), DoubleNear(0, 1e-12)));
}

TEST(Replay, RefusesWhatItCannotUse) {
  const std::string rule =
      "a text file of edge times in seconds, one on each line and increasing, after an optional header; 3 to "
      "1000000 "
      "edges";
  EXPECT_EQ(std::get<std::string>(replay_of("")), "0 edges; " + rule);
  EXPECT_EQ(std::get<std::string>(replay_of("1\n2\n")), "2 edges; " + rule);
  EXPECT_EQ(std::get<std::string>(replay_of("t\n1\n2\nx\n")), "'x' on line 4; " + rule);
  EXPECT_EQ(std::get<std::string>(replay_of("t\nu\n1\n")), "'u' on line 2; " + rule);
  EXPECT_EQ(std::get<std::string>(replay_of("1\n2\n2\n")),
            "a time that does not increase, on line 3; " + rule);
  EXPECT_EQ(std::get<std::string>(replay_of("1\nnan\n3\n")), "'nan' on line 2; " + rule);
  EXPECT_EQ(std::get<std::string>(replay_of("1\ninf\n")), "'inf' on line 2; " + rule);
  // Their mean period would be infinite, and a deviation no number.
  EXPECT_EQ(std::get<std::string>(replay_of("-1.7e308\n1.7e308\n1.75e308\n")),
            "'-1.7e308' on line 1, which is no time of a recording; " + rule);
}

TEST(NoiseFile, ReplaysARecordingBesideIt) {
  const std::string folder = ::testing::TempDir() + "noise_file_replay";
  std::filesystem::create_directories(folder + "/edges");
  std::ofstream(folder + "/noise.yaml") << "format: 1\nkind: noise\nrecording: edges/lap.csv\n";
  std::ofstream(folder + "/edges/lap.csv") << "0\n1\n2.5\n3\n";
  EXPECT_THAT(load_noise(folder + "/noise.yaml").replay, ElementsAre(0, 0, 0.5));
}

TEST(NoiseFile, HasWhatItNames) {
  const Noise n = load_noise(source_path("fixtures/noise/rough-road.yaml"));
  EXPECT_EQ(n.jitter_us, 20);
  EXPECT_EQ(n.wander_rpm, 3);
  EXPECT_EQ(n.wander_s, 0.4);
  EXPECT_THAT(n.firing, ElementsAre(0, 0.4, -0.4));
  EXPECT_EQ(n.missing, 1e-5);
  EXPECT_EQ(n.doubled, 1e-5);
  EXPECT_EQ(n.doubled_after_us, 250);
  EXPECT_TRUE(n.replay.empty());
}

}  // namespace
}  // namespace tachproof

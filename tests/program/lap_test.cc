// A lap that was driven, replayed: played, kept, verified; what the driver should have seen of it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "tests/bench/files_cases.h"
#include "tests/bench/scratch_folder.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using testing::HasSubstr;

class Lap : public testing::Test {
 protected:
  void SetUp() override {
    fs::create_directories(scratch / "logs");
    fs::copy_file(source_path("fixtures/logs/tarn-lap.csv"), scratch / "logs" / "lap.csv");
    fs::copy_file(source_path("fixtures/gauges/tarn.yaml"), scratch / "tarn.yaml");
    scratch.write("lap.yaml",
                  "format: 1\nkind: scenario\nname: lap\nseed: 3\nprofile:\n  - {hold: 1600, for: 1s}\n"
                  "  - {replay: logs/lap.csv, time: t, rpm: n, from: 16s, to: 30s}\n"
                  "  - {hold: 1600, for: 1s}\njudge: {thresholds: false}\n");
    scratch.write("rig.yaml",
                  "format: 1\nkind: rig\nsource: {kind: simulated}\n"
                  "watch: {kind: simulated, unit: tarn.yaml, behaviour: {response_ms: 20}}\n");
    scratch.write("faulty.yaml",
                  "format: 1\nkind: rig\nsource: {kind: simulated}\n"
                  "watch: {kind: simulated, unit: tarn.yaml, behaviour: {response_ms: 20, faults: [{kind: "
                  "boundary-moved, boundary: above, by_rpm: 90}]}}\n");
  }
  Finished tachproof(const std::string& words) { return run_process(command_line(words), scratch.path()); }
  std::string text_of(const std::string& file) {
    std::ostringstream text;
    text << std::ifstream(scratch / file).rdbuf();
    return text.str();
  }
  ScratchFolder scratch;
};

TEST_F(Lap, IsPlayedKeptAndVerifiedFromTheCopyAlone) {
  const Finished run = tachproof("run lap.yaml --gauge tarn.yaml --rig rig.yaml --out run");
  EXPECT_EQ(run.status, 0) << run.out << run.err;
  EXPECT_EQ(text_of("run/log-1.csv"), text_of("logs/lap.csv"));
  std::string kept = text_of("lap.yaml");
  kept.replace(kept.find("logs/lap.csv"), std::string("logs/lap.csv").size(), "log-1.csv");
  EXPECT_EQ(text_of("run/scenario.yaml"), kept);
  const json result = json::parse(text_of("run/result.json"));
  bool listed = false;
  for (const json& input : result["inputs"]) listed = listed || input["file"] == "log-1.csv";
  EXPECT_TRUE(listed);
  fs::remove_all(scratch / "logs");  // the car's own file is not needed any more
  const Finished verified = tachproof("report run --verify");
  EXPECT_EQ(verified.status, 0) << verified.out;
  EXPECT_EQ(tachproof("report run").status, 0);
  // The folder is whole by itself: its own scenario is played again from it.
  EXPECT_EQ(tachproof("check run/scenario.yaml").status, 0);
  EXPECT_EQ(tachproof("run run/scenario.yaml --gauge tarn.yaml --rig rig.yaml --out again").status, 0);
  EXPECT_EQ(text_of("again/scenario.yaml"), text_of("run/scenario.yaml"));
  EXPECT_EQ(json::parse(text_of("again/result.json"))["scenario"]["sha256"],
            json::parse(text_of("run/result.json"))["scenario"]["sha256"]);
}

TEST_F(Lap, ThatWasChangedInTheFolderIsNoticed) {
  ASSERT_EQ(tachproof("run lap.yaml --gauge tarn.yaml --rig rig.yaml --out run").status, 0);
  std::string log = text_of("run/log-1.csv");
  log[log.rfind("20.00,") + 6] = '6';
  scratch.write("run/log-1.csv", log);
  const Finished verified = tachproof("report run --verify");
  EXPECT_NE(verified.status, 0);
  EXPECT_THAT(verified.out, HasSubstr("log-1.csv"));
}

TEST_F(Lap, FailsAUnitThatIsWrong) {
  const Finished run = tachproof("run lap.yaml --gauge tarn.yaml --rig faulty.yaml --out run");
  EXPECT_EQ(run.status, 1) << run.out << run.err;
}

TEST_F(Lap, ShowsWhatTheDriverShouldHaveSeen) {
  const Finished expected = tachproof("expect lap.yaml --gauge tarn.yaml --html view.html");
  EXPECT_EQ(expected.status, 0) << expected.err;
  EXPECT_THAT(expected.out,
              HasSubstr("logs/lap.csv: 701 samples, 50 a second, from 16 to 30 s by its own clock,"));
  EXPECT_THAT(expected.out, HasSubstr("What the driver should have seen"));
  EXPECT_THAT(text_of("view.html"), HasSubstr("<svg"));
  const json out = json::parse(tachproof("expect lap.yaml --gauge tarn.yaml --json").out);
  double in_all = 0;
  for (const json& window : out["windows"]) in_all += window["in_all_s"].get<double>();
  EXPECT_NEAR(in_all, 16, 1e-6);  // every instant shows one window
}

TEST_F(Lap, TellsWhetherTheLampsFlickered) {
  const std::string words = "deadband --gauge tarn.yaml --noise logs/lap.csv --time t --rpm n";
  const Finished told = tachproof(words);
  EXPECT_EQ(told.status, 0) << told.err;
  EXPECT_THAT(told.out, HasSubstr("The smallest deadband without flicker is"));
  const json out = json::parse(tachproof(words + " --json").out);
  // What it recommends, a gauge with that deadband has.
  const double width = out["recommended_rpm"];
  std::string gauge = text_of("tarn.yaml");
  gauge.replace(gauge.find("deadband: {rpm: 8"), 17, "deadband: {rpm: " + std::to_string(width));
  scratch.write("wide.yaml", gauge);
  const json wide =
      json::parse(tachproof("deadband --gauge wide.yaml --noise logs/lap.csv --time t --rpm n --json").out);
  EXPECT_EQ(wide["flickers"], 0);
  EXPECT_EQ(tachproof(words + " --limit 2").status, 2);
  EXPECT_THAT(tachproof("deadband --gauge tarn.yaml --noise logs/lap.csv --time t --rpm x").err,
              HasSubstr("no column 'x'"));
}

TEST_F(Lap, OfASuiteIsPlayedAgainWhenItsLogIsAnother) {
  const std::string words = "run lap.yaml --gauge tarn.yaml --rig rig.yaml --resume --out suite";
  ASSERT_EQ(tachproof(words).status, 0);
  EXPECT_EQ(tachproof(words).status, 0);
  EXPECT_FALSE(fs::exists(scratch / "suite" / "tarn" / "lap@2"));
  scratch.write("logs/lap.csv", text_of("logs/lap.csv") + "40.02,1700.0,20\n");
  tachproof(words);
  EXPECT_TRUE(fs::exists(scratch / "suite" / "tarn" / "lap@2"));
}

}  // namespace
}  // namespace tachproof

// Settings in speeds, through the whole program: the sheet, and what is said of a speed elsewhere.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "tests/bench/files_cases.h"
#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::HasSubstr;
using testing::Not;

class SettingsProgram : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("rig.yaml", files::rig);
    scratch.write("scenario.yaml", files::measuring_scenario);
  }
  Finished tachproof(const std::string& words) { return run_process(command_line(words), scratch.path()); }
  std::string text_of(const std::string& file) {
    std::ostringstream text;
    text << std::ifstream(scratch / file).rdbuf();
    return text.str();
  }
  // The gauge of the other tests, with its anchor at 60 km/h: 3000 rpm, exactly.
  std::string in_speed() {
    return files::replaced(
        files::gauge, "anchors: {pit: 3000}",
        "drive: {gear: 2, final_drive: 3, tyre_circumference: 2m, tyre_uncertainty: 10mm}\n"
        "anchors: {pit: 60km/h}");
  }
  const std::string tarn = source_path("fixtures/gauges/tarn.yaml");
  ScratchFolder scratch;
};

TEST_F(SettingsProgram, SheetFitsATerminalAndSaysEveryRpm) {
  const Finished done = tachproof("settings sheet " + tarn);
  EXPECT_EQ(done.status, 0) << done.err;
  for (const char* part :
       {"pulses per revolution  2", "set in steps of        10 rpm", "60km/h", "3200", "lane -330",
        "written as -6km/h", "change -600", "ends at change", "span 600 rpm, 3 steps, evenly",
        "8 rpm, below the boundary", "5 Hz, lit 50 % of the time", "near-side violet, off-side violet"})
    EXPECT_THAT(done.out, HasSubstr(part));
  std::istringstream lines(done.out);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 80u) << line;
}

TEST_F(SettingsProgram, SheetsSpeedsAreThoseOfTheSpeedCommand) {
  const json sheet = json::parse(tachproof("settings sheet " + tarn + " --json").out);
  ASSERT_EQ(sheet["anchors"][0]["name"], "lane");
  // A tolerance of 4 rpm is rectangular: 2 * 4 / sqrt(3) is what `speed` takes expanded.
  const json speed = json::parse(
      tachproof(
          "speed --rpm 3200 --gear 2.05 --final-drive 3.1 --tyre-circumference 1.98m --gauge-uncertainty " +
          std::to_string(8 / std::sqrt(3.0)) + " --json")
          .out);
  EXPECT_EQ(sheet["anchors"][0]["written"], "60km/h");
  EXPECT_EQ(sheet["anchors"][0]["rpm"], 3200);
  EXPECT_NEAR(sheet["anchors"][0]["speed_kmh"], speed["speed_kmh"], 1e-9);
  EXPECT_NEAR(sheet["anchors"][0]["speed_expanded_uncertainty_kmh"], speed["speed_expanded_uncertainty_kmh"],
              1e-6);
  EXPECT_LE(sheet["anchors"][0]["speed_kmh"], 60.0);
  const json plain = json::parse(tachproof("settings sheet gauge.yaml --json").out);
  EXPECT_FALSE(plain["anchors"][0].contains("speed_kmh"));
  EXPECT_EQ(plain["windows"][2]["offset_rpm"], 1000);
}

TEST_F(SettingsProgram, SheetSaysForProgramsWhatButtonsAndSupplyDo) {
  const json sheet = json::parse(
      tachproof("settings sheet " TACHPROOF_SOURCE_DIR "/fixtures/gauges/drumlin-buttons.yaml --json").out);
  EXPECT_EQ(sheet["buttons"][0], json::parse(R"({"name": "set", "does": "take", "boundary": "beyond",
    "from_rpm": 2500.0, "to_rpm": 5500.0, "kept_without_supply": true})"));
  EXPECT_EQ(sheet["buttons"][1]["for_s"], 4.0);
  EXPECT_EQ(sheet["buttons"][2]["levels"], json::parse("[100.0, 55.0, 25.0, 10.0]"));
  EXPECT_EQ(sheet["buttons"][2]["kept_without_supply"], false);
  EXPECT_EQ(sheet["power_up"], json::parse(R"({"boot_from_ms": 200.0, "boot_to_ms": 1500.0,
    "greets": {"shows": "left white, mid blue", "for_ms": 600.0}, "keeps": ["set"]})"));
  EXPECT_EQ(sheet["supply"], json::parse(R"({"from_v": 9.0, "to_v": 16.0})"));
  EXPECT_FALSE(json::parse(tachproof("settings sheet gauge.yaml --json").out).contains("buttons"));
}

TEST_F(SettingsProgram, SheetIsAPageForTheWall) {
  EXPECT_EQ(tachproof("settings sheet " + tarn + " --html sheet.html").status, 0);
  const std::string page = text_of("sheet.html");
  for (const char* part : {"Tarn three-lamp gauge", "size: A4", "serial number", "60km/h", "−330", "±"})
    EXPECT_THAT(page, HasSubstr(part));
  EXPECT_THAT(page, Not(HasSubstr("<script")));
}

TEST_F(SettingsProgram, RefusesWhatItCannotDo) {
  EXPECT_EQ(tachproof("settings sheet gauge.yaml gauge.yaml").err,
            "tachproof settings: sheet takes 1 gauge file, and 2 are given\n");
  EXPECT_EQ(tachproof("settings diff gauge.yaml").err,
            "tachproof settings: diff takes 2 gauge files, and 1 are given\n");
  EXPECT_EQ(tachproof("settings diff gauge.yaml gauge.yaml --html x.html").err,
            "tachproof settings: --html goes with sheet\n");
}

TEST_F(SettingsProgram, CheckSaysWhatAnAnchorMeans) {
  scratch.write("speed.yaml", in_speed());
  EXPECT_EQ(tachproof("check speed.yaml").out,
            "speed.yaml: a sound gauge file\n  pit: 60km/h is set as 3000 rpm, which is 60.00 km/h +-0.31\n");
}

TEST_F(SettingsProgram, DiffNamesAnotherTyre) {
  scratch.write("speed.yaml", in_speed());
  scratch.write("worn.yaml",
                files::replaced(in_speed(), "tyre_circumference: 2m", "tyre_circumference: 1.96m"));
  const std::string said = tachproof("settings diff speed.yaml worn.yaml").out;
  EXPECT_THAT(said, HasSubstr("the drive is gear 2, final drive 3, tyre circumference 1.96m"));
  EXPECT_THAT(
      said,
      HasSubstr("anchor pit moves up 61 rpm (3000 to 3061), from 60.00 km/h +-0.31 to 60.00 km/h +-0.31"));
}

TEST_F(SettingsProgram, ExpectAndTheReportSaySpeeds) {
  scratch.write("speed.yaml", in_speed());
  const Finished expected = tachproof("expect scenario.yaml --gauge speed.yaml");
  EXPECT_THAT(expected.out, HasSubstr("brisk     rising       3000.0    60.00   0.31"));
  const json rows =
      json::parse(tachproof("expect scenario.yaml --gauge speed.yaml --json").out)["transitions"];
  EXPECT_NEAR(rows[0]["speed_kmh"], 60, 1e-9);

  const Finished run = tachproof("run scenario.yaml --gauge speed.yaml --rig rig.yaml --out run");
  EXPECT_EQ(run.status, 0) << run.out << run.err;
  EXPECT_THAT(run.out, HasSubstr("Speeds, km/h"));
  EXPECT_THAT(text_of("run/report.html"), HasSubstr("measured, km/h"));
  EXPECT_THAT(text_of("run/report.html"), HasSubstr("gear 2, final drive 3, tyre circumference 2m"));
  const Finished verified = tachproof("report run --verify");
  EXPECT_EQ(verified.status, 0) << verified.out;
  // A tyre that was changed in the result is noticed.
  const std::string result = text_of("run/result.json");
  scratch.write("run/result.json",
                files::replaced(result, "\"tyre_circumference_m\": 2.0", "\"tyre_circumference_m\": 2.1"));
  EXPECT_NE(tachproof("report run --verify").status, 0);
}

}  // namespace
}  // namespace tachproof

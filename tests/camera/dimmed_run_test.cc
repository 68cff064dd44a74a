// A dimming button's levels, measured from a filmed lamp's light beside its own full light.
#include <fmt/format.h>
#include <gmock/gmock.h>

#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>

#include "bench/files/files.h"
#include "tests/bench/scratch_folder.h"
#include "tests/camera/taught_camera.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using Json = nlohmann::json;

constexpr const char* buttons = "buttons: [{name: glow, does: dim, levels: [100, 55, 25, 12]}]\n";

constexpr const char* scenario = R"(format: 1
kind: scenario
name: dimmed
seed: 3
profile:
  - {hold: 2500, for: 500ms}
  - {press: sync, for: 300ms}
  - {hold: 2500, for: 500ms}
  - {step: 3000}
  - {hold: 3000, for: 2s}
  - {press: glow, for: 100ms}
  - {hold: 3000, for: 2s}
  - {press: glow, for: 100ms}
  - {hold: 3000, for: 2s}
  - {press: glow, for: 100ms}
  - {hold: 3000, for: 2s}
  - {press: glow, for: 100ms}
  - {hold: 3000, for: 2s}
  - {press: sync, for: 200ms}
  - {hold: 3000, for: 500ms}
  - {step: 2500}
  - {hold: 2500, for: 1s}
  - {press: sync, for: 500ms}
  - {hold: 2500, for: 500ms}
judge: {thresholds: false}
)";

class DimmedRun : public testing::Test {
 protected:
  // Two whole periods of dimming in an exposure.
  static constexpr double exposure_ms = 5, dim_hz = 400;

  static const test::TaughtCamera& taught(double brightness) {
    static ScratchFolder clear_folder, bright_folder;
    static const test::TaughtCamera clear(clear_folder.path(), 5, 0.75, 0.6);
    static const test::TaughtCamera bright(bright_folder.path(), 5, 0.75, 2.0);
    return brightness < 1 ? clear : bright;
  }

  // Films the unit while its button is pressed, and runs the clip.
  Json filmed(const std::vector<FaultSetting>& faults, double tone_percent = 1, double brightness = 0.6) {
    const test::TaughtCamera& camera = taught(brightness);
    const std::filesystem::path& folder = camera.folder();
    std::ifstream settings(folder / "gauge.yaml");
    std::ofstream(folder / "dims.yaml")
        << std::string(std::istreambuf_iterator<char>(settings), {}) << buttons;
    std::ofstream(folder / "dimmed.yaml") << scenario;
    const Gauge gauge = load_gauge(folder / "dims.yaml");
    const Profile profile(load_scenario(folder / "dimmed.yaml").steps);
    Behaviour behaviour;
    behaviour.response_ms = 100;
    behaviour.dim_hz = dim_hz;
    behaviour.faults = faults;
    test::Camera as_set = camera.camera();
    as_set.exposure_ms = exposure_ms;
    as_set.lasts_s = as_set.run_starts_s + to_seconds(profile.duration()) + 0.4;
    test::film(test::scene_of(gauge, behaviour, profile, 1), as_set, test::Clip::mjpg,
               (folder / "dimmed.avi").string());
    std::ofstream(folder / "dim-rig.yaml") << fmt::format(
        "format: 1\nkind: rig\nsource: {{kind: simulated}}\nwatch: {{kind: camera, clip: dimmed.avi, "
        "regions: "
        "regions.yaml, exposure_ms: {}, readout_ms: {:.2f}, tone_percent: {}}}\n",
        exposure_ms, as_set.readout_ms, tone_percent);
    std::filesystem::remove_all(folder / "run-dimmed");
    const Finished run = run_process(
        command_line("run dimmed.yaml --gauge dims.yaml --rig dim-rig.yaml --out run-dimmed --no-history"),
        folder);
    said = run.out + run.err;
    verified = run_process(command_line("report run-dimmed --verify"), folder).out;
    std::ifstream result(folder / "run-dimmed/result.json");
    return result ? Json::parse(result) : Json();
  }
  std::string said, verified;
};

TEST_F(DimmedRun, OfASoundUnitPassesAndItsLevelsAreWithinTheirU) {
  const Json result = filmed({});
  ASSERT_TRUE(result.is_object()) << said;
  EXPECT_EQ(result["verdict"], "pass") << said << result["findings"].dump(1) << result["dims"].dump(1);
  ASSERT_EQ(result["dims"].size(), 4U);
  for (std::size_t i = 0; i < 4; ++i) {
    const Json& row = result["dims"][i];
    const double truth = std::array{0.55, 0.25, 0.12, 1.0}[i];
    EXPECT_LE(std::abs(row["level"].get<double>() - truth), row["expanded_uncertainty"].get<double>()) << row;
  }
  EXPECT_THAT(verified, HasSubstr("Judged again from the raw evidence: pass"));
}

TEST_F(DimmedRun, OfAUnitWithoutOneLevelFails) {
  const Json result = filmed({{"dim-missing", {}, {{"level", 25}}}});
  ASSERT_TRUE(result.is_object()) << said;
  EXPECT_EQ(result["verdict"], "fail") << said;
  EXPECT_THAT(result["findings"].dump(), HasSubstr("dim-level"));
  EXPECT_THAT(result["findings"].dump(), HasSubstr("of its full light"));
  EXPECT_FALSE(result["causes"].empty());
}

TEST_F(DimmedRun, ByACameraWhoseToneCurveIsNotKnownLeavesLowLevelsOpen) {
  const Json result = filmed({}, 20);
  ASSERT_TRUE(result.is_object()) << said;
  EXPECT_EQ(result["verdict"], "undecided") << said;
  EXPECT_THAT(result["dims"].dump(), HasSubstr("tone_percent"));
}

TEST_F(DimmedRun, OfOverexposedLampsIsUndecidedAndSaysSo) {
  const Json result = filmed({}, 1, 2.0);
  ASSERT_TRUE(result.is_object()) << said;
  EXPECT_EQ(result["verdict"], "undecided") << said;
  EXPECT_THAT(result["dims"].dump(), HasSubstr("overexposed"));
}

}  // namespace
}  // namespace tachproof

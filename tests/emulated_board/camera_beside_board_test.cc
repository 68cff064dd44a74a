// A camera beside the board, live: the firmware plays and flashes the sync lamp, a
// simulated unit on the pins answers, and all is seen in frames of a clock of
// their own. Beside it, the same unit by the board's own inputs.
//
// TACHPROOF_UNITS asks for more units than a handful.

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <random>

#include "bench/rigs/camera/camera.h"
#include "tests/bench/judged_unit.h"
#include "tests/bench/scratch_folder.h"
#include "tests/emulated_board/bench_with_board.h"
#include "tests/emulated_board/board_on_film.h"
#include "tests/emulated_board/unit_on_pins.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

Gauge three_lamps() {
  Gauge g;
  g.name = "Scaur";
  g.pulses_per_rev = 3;
  g.lamps = {{"alder", {"blue"}}, {"birch", {"white", "blue"}}, {"cedar", {"magenta"}}};
  const Channels alder = g.channel("alder", "blue"), white = g.channel("birch", "white"),
                 blue = g.channel("birch", "blue"), cedar = g.channel("cedar", "magenta");
  g.windows = {{"calm", 0, {}},
               {"stir", 2600, {alder, 0}},
               {"brisk", 2760, {alder | blue, 0}},
               {"full", 2920, {white | cedar, 0}},
               {"over", 3080, {0, cedar}}};
  g.deadband = {20, Sits::below};
  g.blink = Blink{2, 0.5};
  g.tolerance.rpm = 15;
  g.tolerance.response_to = 300 * ns_per_ms;
  g.tolerance.blink_hz = 0.2;
  g.tolerance.blink_duty = 0.2;
  return g;
}

// Input, region, colour: in the gauge's order.
const std::vector<FilmedWire> filmed{{0, 0, 'A'}, {1, 1, 'A'}, {2, 1, 'B'}, {3, 2, 'A'}};
const std::vector<double> rows{0.2, 0.25, 0.4, 0.8};  // the sync lamp's last

std::string region(const std::string& name, double row, const std::vector<std::string>& colours, int indent) {
  const std::string in(static_cast<std::size_t>(indent), ' ');
  std::string text = fmt::format(
      "{0}{1}:\n{0}  at: {{x: 200, y: {2}, radius: 4}}\n{0}  dark: {{core: [0.01, 0.01, 0.01], rim: [0.01, "
      "0.01, 0.01]}}\n{0}  colours:\n",
      in, name, 480 * row);
  for (const std::string& colour : colours)
    text += fmt::format("{}    {}: {{core: [0.4, 0.{}, 0.3], halo: [0.2, 0.2, 0.{}], rim: 0.08}}\n", in,
                        colour, colour.size(), colour.size() % 7 + 1);
  return text;
}

std::vector<Step> scenario() {
  const Press flash{"sync", 300 * ns_per_ms}, other{"sync", 200 * ns_per_ms}, last{"sync", 500 * ns_per_ms};
  return {Hold{2500, ns_per_s},
          flash,
          Hold{2500, ns_per_s},
          RampByRate{3180, 130},
          Hold{3180, 2500 * ns_per_ms},
          other,
          RampByRate{2500, 130},
          Hold{2500, 500 * ns_per_ms},
          StepTo{3000},
          Hold{3000, 800 * ns_per_ms},
          StepTo{2500},
          Hold{2500, 800 * ns_per_ms},
          last,
          Hold{2500, ns_per_s}};
}

class CameraBesideBoard : public testing::Test {
 protected:
  CameraBesideBoard() {
    behaviour.response_ms = 100;
    std::ofstream(scratch / "regions.yaml")
        << "format: 1\nkind: regions\nframe: {width: 640, height: 480}\ndial: {reference: dial.png, within: "
           "12, patches: [[10, 10], [100, 10], [10, 100]]}\nlamps:\n"
        << region("alder", rows[0], {"blue"}, 2) << region("birch", rows[1], {"white", "blue"}, 2)
        << region("cedar", rows[2], {"magenta"}, 2) << region("sync", rows[3], {"lit"}, 0);
  }

  std::unique_ptr<UnitOnPins> on_pins() const {
    return std::make_unique<UnitOnPins>(SimulatedUnit(unit, behaviour, gauge, 1), wires);
  }

  RunResult by_camera(const Filming& filming = {}, const RunHooks& hooks = {}) {
    ServedBoard served(on_pins());
    BoardSettings board;
    board.port = served.port();
    board.actions = {"sync", ""};
    CameraSettings camera;
    camera.from = "/dev/video9";
    camera.live = true;
    camera.sync = "sync";
    camera.regions = (scratch / "regions.yaml").string();
    camera.exposure_ms = to_ms(filming.exposure);
    camera.readout_ms = to_ms(filming.readout);
    Rig rig = camera_rig(camera, gauge, board_rig(board, served.take_clock()).source,
                         [&](const std::vector<std::string>&) {
                           return std::make_unique<BoardOnFilm>(served.board(), filmed, rows, filming);
                         });
    stated = rig.watcher->facts();
    RunResult result = run_on(rig, gauge, Profile(scenario()), all_but_thresholds(), hooks);
    const std::vector<PinLevels>& outputs = served.board().output_changes();
    outputs_left = outputs.empty() ? 0 : outputs.back().levels;
    return result;
  }

  RunResult by_wires() {
    BoardSettings settings;
    settings.wires = wires;
    settings.actions = {"sync", ""};
    BenchWithBoard bench(settings, on_pins());
    return run_on(bench.rig(), gauge, Profile(scenario()));
  }

  static std::string said(const RunResult& result) {
    std::string all;
    for (const Finding& finding : result.findings) all += finding.message + "\n";
    return all;
  }

  ScratchFolder scratch;
  Gauge gauge = three_lamps(), unit = three_lamps();
  Behaviour behaviour;
  std::vector<ResolvedWire> wires = one_input_each(gauge);
  WatcherFacts stated;
  unsigned outputs_left = 0;
};

TEST_F(CameraBesideBoard, ASoundUnitPasses) {
  const RunResult result = by_camera();
  EXPECT_EQ(result.verdict, Verdict::pass) << said(result);
  EXPECT_TRUE(result.complete);
  EXPECT_EQ(result.transitions.size(), 14U);
  EXPECT_EQ(stated.time_by, TimeRelation::sync_lamp);
  EXPECT_EQ(outputs_left, 0U);
}

TEST_F(CameraBesideBoard, AFaultyUnitFails) {
  unit.windows[2].cue.steady = gauge.channel("birch", "blue");  // alder goes dark too soon
  EXPECT_EQ(by_camera().verdict, Verdict::fail);
  unit = three_lamps();
  unit.windows[3].from_rpm += 70;
  EXPECT_EQ(by_camera().verdict, Verdict::fail);
}

TEST_F(CameraBesideBoard, ASlowCameraIsWaitedFor) {
  Filming filming;
  filming.frames_per_s = 20;
  filming.delivered_after = 150 * ns_per_ms;
  const RunResult result = by_camera(filming);
  EXPECT_TRUE(result.complete) << said(result);
  EXPECT_NE(result.verdict, Verdict::fail) << said(result);
}

TEST_F(CameraBesideBoard, MissingFramesAreUndecided) {
  Filming filming;
  filming.drops_from = 100;
  filming.drops = 8;
  EXPECT_EQ(by_camera(filming).verdict, Verdict::undecided);
}

TEST_F(CameraBesideBoard, ACameraThatStopsIsUndecidedAndTheOutputsAreOff) {
  Filming filming;
  filming.stops_at = 200;
  const RunResult result = by_camera(filming);
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_THAT(said(result), HasSubstr("gives no more frames"));
  EXPECT_EQ(outputs_left, 0U);
}

TEST_F(CameraBesideBoard, ASyncLampOutOfViewIsUndecided) {
  Filming filming;
  filming.sync_in_view = false;
  const RunResult result = by_camera(filming);
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_THAT(said(result), HasSubstr("the sync lamp was seen to change 0 times"));
}

TEST_F(CameraBesideBoard, StoppedByThePersonTheOutputsAreOff) {
  RunHooks hooks;
  hooks.stop = [asked = 0]() mutable -> std::optional<std::string> {
    if (++asked < 60) return std::nullopt;
    return "stopped by the person at the bench";
  };
  EXPECT_EQ(by_camera({}, hooks).verdict, Verdict::undecided);
  EXPECT_EQ(outputs_left, 0U);
}

// ISO/IEC 17043: two results agree when |E_n| <= 1.
TEST_F(CameraBesideBoard, ThresholdsAgreeWithThoseOfTheBoardsInputs) {
  const char* asked = std::getenv("TACHPROOF_UNITS");
  const int units = asked != nullptr ? std::atoi(asked) : 5;
  std::mt19937 random(7);
  const auto between = [&](double a, double b) {
    return a + (b - a) * static_cast<double>(random() % 10'001) / 10'000;
  };
  int rows_compared = 0, incomplete = 0;
  double most_rpm = 0, most_e_n = 0;
  std::vector<double> scores;
  for (int i = 0; i < units; ++i) {
    unit = three_lamps();
    for (std::size_t w = 1; w < unit.windows.size(); ++w) unit.windows[w].from_rpm += between(-40, 40);
    unit.deadband.rpm = between(12, 28);
    behaviour.response_ms = between(40, 200);
    Filming filming;
    filming.frames_per_s = i % 2 == 0 ? 30 : 50;
    filming.exposure = from_seconds(between(2e-3, 9e-3));
    filming.readout = from_seconds(between(3e-3, 15e-3));
    filming.fast_ppm = between(-120, 120);
    const RunResult camera = by_camera(filming), board = by_wires();
    if (!camera.complete) {  // a lamp of which two frames in a row could not tell
      ++incomplete;
      continue;
    }
    ASSERT_EQ(camera.boundaries.size(), board.boundaries.size());
    for (std::size_t row = 0; row < board.boundaries.size(); ++row) {
      const BoundaryResult &a = camera.boundaries[row], &b = board.boundaries[row];
      if (std::isnan(a.threshold_rpm) || std::isnan(b.threshold_rpm)) continue;
      const double off = a.threshold_rpm - b.threshold_rpm;
      const double e_n = std::abs(off) / std::hypot(a.expanded_uncertainty_rpm, b.expanded_uncertainty_rpm);
      EXPECT_LE(e_n, 1) << i << " " << a.boundary << " " << off;
      ++rows_compared;
      scores.push_back(e_n);
      most_rpm = std::max(most_rpm, std::abs(off));
      most_e_n = std::max(most_e_n, e_n);
    }
    // A camera may be unsure; it never contradicts the wires.
    if (camera.verdict != Verdict::undecided && board.verdict != Verdict::undecided) {
      EXPECT_EQ(camera.verdict, board.verdict) << i << "\n" << said(camera) << said(board);
    }
  }
  EXPECT_LE(20 * incomplete, units);
  EXPECT_GE(rows_compared, 6 * (units - incomplete));
  std::sort(scores.begin(), scores.end());
  if (asked != nullptr)
    fmt::print(
        "{} thresholds of {} units, {} runs undecided: off by at most {:.1f} rpm; E_n median {:.2f}, 95 % "
        "{:.2f}, most {:.2f}\n",
        rows_compared, units, incomplete, most_rpm, scores[scores.size() / 2],
        scores[scores.size() * 19 / 20], most_e_n);
}

}  // namespace
}  // namespace tachproof

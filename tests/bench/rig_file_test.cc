// What rig and wiring files come out as.
#include <gmock/gmock.h>

#include <filesystem>
#include <fstream>

#include "bench/files/readers.h"
#include "bench/files/rig_edit.h"
#include "bench/files/rig_writer.h"
#include "tests/bench/files_cases.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

Wiring wiring_of(const std::string& text) {
  ErrorList errors("wiring.yaml");
  const std::optional<YamlTree> tree = parse_yaml(text, errors);
  if (!tree) throw FileErrors(errors.sorted());
  Wiring wiring = read_wiring(*tree->root, errors);
  errors.throw_if_any();
  return wiring;
}

TEST(RigFile, OfASimulatedUnitCarriesTheGaugeItRuns) {
  const RigFile rig = load_rig(source_path("fixtures/rigs/simulated-faulty.yaml"));
  EXPECT_EQ(rig.source.kind, "simulated");
  EXPECT_EQ(rig.source.line, 4);
  EXPECT_EQ(rig.source.column, 9);
  EXPECT_EQ(rig.watch.kind, "simulated");
  ASSERT_TRUE(rig.watch.unit);
  EXPECT_EQ(rig.watch.unit->name, "Drumlin four-lamp gauge");
  EXPECT_TRUE(std::filesystem::equivalent(rig.watch.unit_path, source_path("fixtures/gauges/drumlin.yaml")));
  EXPECT_FALSE(rig.watch.wiring);
  const Behaviour& b = rig.watch.behaviour;
  EXPECT_EQ(b.response_ms, 20);
  EXPECT_EQ(b.averaging_pulses, std::nullopt);
  ASSERT_EQ(b.faults.size(), 1U);
  EXPECT_EQ(b.faults[0].kind, "boundary-moved");
  EXPECT_EQ(b.faults[0].words.at("boundary"), "on-limit");
  EXPECT_EQ(b.faults[0].numbers.at("by_rpm"), 9);
}

TEST(RigFile, OfABoardCarriesItsPortAndWiring) {
  const RigFile rig = load_rig(source_path("fixtures/rigs/board.yaml"));
  EXPECT_EQ(rig.source.kind, "board");
  EXPECT_EQ(rig.source.port, "/dev/serial/by-id/usb-tachproof_board-if00");
  EXPECT_EQ(rig.watch.kind, "board");
  EXPECT_FALSE(rig.watch.unit);
  ASSERT_TRUE(rig.watch.wiring);
  ASSERT_EQ(rig.watch.wiring->wires.size(), 7U);
  EXPECT_EQ(rig.watch.wiring->wires[2].channel, "in2");
  EXPECT_EQ(rig.watch.wiring->wires[2].lamp, "mid");
  EXPECT_EQ(rig.watch.wiring->wires[2].colour, "blue");
  EXPECT_EQ(rig.watch.wiring->tach, "");
  EXPECT_TRUE(rig.watch.wiring->active_high);
}

// A board's rig with these lines for its source.
std::string board_rig_text(const std::string& source) {
  return "# The bench in the shed.\nformat: 1\nkind: rig\n" + source +
         "watch: {kind: board, wiring: {lamps: {left: {white: in0}}}}  # one lamp for now\n";
}

TEST(RigFile, OfABoardCarriesItsButtonsAndItsClock) {
  const ScratchFolder scratch;
  const RigFile rig = load_rig(scratch.write(
      "rig.yaml",
      board_rig_text("source:\n  kind: board\n  port: /dev/ttyACM0\n  buttons: {capture: press-2}\n"
                     "  clock: {fast_ppm: -7.5, uncertainty_ppm: 6, calibrated: 2031-03-14}\n")));
  EXPECT_THAT(rig.source.buttons,
              testing::ElementsAre(std::pair<std::string, std::string>("capture", "press-2")));
  ASSERT_TRUE(rig.source.clock);
  EXPECT_EQ(rig.source.clock->fast_ppm, -7.5);
  EXPECT_EQ(rig.source.clock->uncertainty_ppm, 6);
  EXPECT_EQ(rig.source.clock->calibrated, "2031-03-14");
}

TEST(RigWriter, AWiringThatReadsBackAsItIs) {
  const ScratchFolder scratch;
  Wiring wiring;
  wiring.active_high = false;
  wiring.wires = {
      {"in5", "left", "white"}, {"in0", "left", "blue"}, {"in7", "the \"big\" one", "magenta: dim"}};
  RigFile made;
  made.source.kind = made.watch.kind = "board";
  made.source.port = "/dev/by \\ name";
  made.watch.wiring = wiring;
  const RigFile rig = load_rig(scratch.write("rig.yaml", rig_yaml(made, "Found.")));
  EXPECT_EQ(rig.source.kind, "board");
  EXPECT_EQ(rig.source.port, "/dev/by \\ name");
  ASSERT_TRUE(rig.watch.wiring);
  EXPECT_FALSE(rig.watch.wiring->active_high);
  ASSERT_EQ(rig.watch.wiring->wires.size(), 3u);
  for (std::size_t i = 0; i < 3; ++i) {
    EXPECT_EQ(rig.watch.wiring->wires[i].channel, wiring.wires[i].channel);
    EXPECT_EQ(rig.watch.wiring->wires[i].lamp, wiring.wires[i].lamp);
    EXPECT_EQ(rig.watch.wiring->wires[i].colour, wiring.wires[i].colour);
  }
}

TEST(RigWriter, WhatItWritesOfAGeneratorGpioAndACameraReadsBack) {
  const ScratchFolder scratch;
  RigFile made;
  made.source.kind = "scpi";
  made.source.scpi = ScpiSetting{"/dev/ttyUSB0", 19200, 2, 4.5, -1.25, 0.0, 5 * ns_per_ms, 7 * ns_per_ms};
  made.watch.kind = "gpio";
  made.watch.chip = "a: chip";
  made.watch.bias = "pull-up";
  made.watch.wiring.emplace();
  made.watch.wiring->wires = {{"GPIO17", "left", "white"}, {"27", "mid", "blue"}, {"Off", "no", "~"}};
  const RigFile rig = load_rig(scratch.write("rig.yaml", rig_yaml(made, "Made.")));
  ASSERT_TRUE(rig.source.scpi);
  const ScpiSetting& scpi = *rig.source.scpi;
  EXPECT_EQ(scpi.address, "/dev/ttyUSB0");
  EXPECT_EQ(scpi.baud, 19200u);
  EXPECT_EQ(scpi.channel, 2u);
  EXPECT_EQ(scpi.amplitude_v, 4.5);
  EXPECT_EQ(scpi.offset_v, -1.25);
  EXPECT_EQ(scpi.load_ohm, 0.0);
  EXPECT_EQ(scpi.answer, 5 * ns_per_ms);
  EXPECT_EQ(scpi.settle, 7 * ns_per_ms);
  EXPECT_EQ(rig.watch.chip, "a: chip");
  EXPECT_EQ(rig.watch.bias, "pull-up");
  EXPECT_EQ(rig.watch.wiring->wires[1].channel, "27");
  EXPECT_EQ(rig.watch.wiring->wires[2].channel, "Off");
  EXPECT_EQ(rig.watch.wiring->wires[2].lamp, "no");
  EXPECT_EQ(rig.watch.wiring->wires[2].colour, "~");

  made.source = {};
  made.source.kind = "board";
  made.source.buttons = {{"flash", "press-1"}};
  made.watch = {};
  made.watch.kind = "camera";
  made.watch.camera.from = "/dev/video3";
  made.watch.camera.live = true;
  made.watch.camera.regions = "shed/regions.yaml";
  made.watch.camera.sync = "flash";
  made.watch.camera.exposure_ms = 4.5;
  const RigFile camera = load_rig(scratch.write("camera.yaml", rig_yaml(made, "Made.")));
  EXPECT_EQ(camera.source.buttons, made.source.buttons);
  EXPECT_EQ(camera.watch.camera.from, "/dev/video3");
  EXPECT_TRUE(camera.watch.camera.live);
  EXPECT_EQ(camera.watch.camera.regions, (scratch / "shed/regions.yaml").string());
  EXPECT_EQ(camera.watch.camera.sync, "flash");
  EXPECT_EQ(camera.watch.camera.exposure_ms, 4.5);
  EXPECT_EQ(camera.watch.camera.readout_ms, -1);
}

const ClockSetting found_clock{12.345, 5.8, "2031-03-14"};

TEST(RigEdit, PutsTheClockIntoASourceInEitherStyleAndLeavesTheRestAlone) {
  const ScratchFolder scratch;
  const std::string line = "clock: {fast_ppm: 12.35, uncertainty_ppm: 5.80, calibrated: 2031-03-14}";
  const std::map<std::string, std::string> sources{
      {"source: {kind: board, port: /dev/ttyACM0}  # mine\n",
       "source: {" + line + ", kind: board, port: /dev/ttyACM0}  # mine\n"},
      {"source:  # mine\n    port: /dev/ttyACM0\n    kind: board\n",
       "source:  # mine\n    " + line + "\n    port: /dev/ttyACM0\n    kind: board\n"},
      {"source: {kind: board, port: \"/dev/gr\u00fcn\", clock: {fast_ppm: 1, uncertainty_ppm: 9, calibrated: "
       "2030-01-01}, buttons: {go: press-1}}\n",
       "source: {kind: board, port: \"/dev/gr\u00fcn\", " + line + ", buttons: {go: press-1}}\n"}};
  for (const auto& [before, after] : sources) {
    const std::string file = scratch.write("rig.yaml", board_rig_text(before));
    EXPECT_EQ(rig_with_clock(file, found_clock), board_rig_text(after));
    scratch.write("rig.yaml", board_rig_text(after));
    EXPECT_EQ(rig_with_clock(file, found_clock), board_rig_text(after));
  }
}

TEST(RigEdit, LeavesToAPersonWhatItCannotDoByRule) {
  const ScratchFolder scratch;
  const auto refusal = [&](const std::string& source) {
    const std::string file = scratch.write("rig.yaml", board_rig_text(source));
    try {
      return rig_with_clock(file, found_clock);
    } catch (const FileErrors& e) {
      return std::string(e.what()).substr(file.size());
    }
  };
  EXPECT_EQ(
      refusal(
          "source:\n  kind: board\n  port: /dev/ttyACM0\n  clock:\n    fast_ppm: 1\n    uncertainty_ppm: 9\n"
          "    calibrated: 2030-01-01\n"),
      ":5:3: the clock cannot be written into this line; by hand: clock: {fast_ppm: 12.35, uncertainty_ppm: "
      "5.80, calibrated: 2031-03-14}");
  EXPECT_EQ(refusal("source: {kind: board}\n"),
            ":4:9: the source is not a board with a port; a clock belongs to one board");
}

TEST(WiringFile, OfARecordingHasItsTach) {
  const Wiring w = load_wiring(source_path("fixtures/wirings/drumlin-recording.yaml"));
  EXPECT_EQ(w.tach, "D0");
  EXPECT_TRUE(w.tach_rising);
  EXPECT_FALSE(w.active_high);
  EXPECT_EQ(w.wires.size(), 7U);
  EXPECT_EQ(w.file, source_path("fixtures/wirings/drumlin-recording.yaml"));
}

TEST(WiringFile, ResolvesToTheGaugesChannels) {
  const Gauge g = load_gauge(source_path("fixtures/gauges/drumlin.yaml"));
  const Wiring w = load_wiring(source_path("fixtures/wirings/drumlin-recording.yaml"));
  const std::vector<ResolvedWire> wires = resolve(w, g);
  ASSERT_EQ(wires.size(), 7U);
  Channels all = 0;
  for (const ResolvedWire& wire : wires) all |= wire.lights;
  EXPECT_EQ(all, g.all_channels());
  EXPECT_EQ(wires[6].channel, "D7");
  EXPECT_EQ(wires[6].lights, g.channel("top", "magenta"));
}

TEST(WiringFile, NamesLampsAndColoursThatTheGaugeDoesNotHaveWhereTheyStand) {
  const Gauge g = load_gauge(source_path("fixtures/gauges/drumlin.yaml"));
  const Wiring w = wiring_of(
      "format: 1\nkind: wiring\ntach: D0\nlamps:\n  lift: {white: D1, blue: D2}\n  mid: {blue: D3, cyan: "
      "D4}\n");
  try {
    resolve(w, g);
    FAIL();
  } catch (const FileErrors& e) {
    EXPECT_STREQ(e.what(),
                 "wiring.yaml:5:3: unknown lamp 'lift'; did you mean 'left'?\n"
                 "wiring.yaml:6:19: unknown colour 'cyan'; allowed: blue, magenta");
  }
}

}  // namespace
}  // namespace tachproof

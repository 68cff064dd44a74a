// What rig and wiring files come out as.
#include <gmock/gmock.h>

#include <filesystem>
#include <fstream>

#include "bench/files/readers.h"
#include "tests/bench/files_cases.h"

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

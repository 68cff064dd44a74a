// The board's clock found by a reference on a pin, and taken out of a run; and
// what the board says of itself at the command line.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <atomic>
#include <nlohmann/json.hpp>
#include <thread>

#include "bench/commands/command_line.h"
#include "bench/rigs/board/board_reference.h"
#include "tests/bench/unit_scene.h"
#include "tests/emulated_board/bench_with_board.h"
#include "tests/emulated_board/reference_on_pin.h"

namespace tachproof {
namespace {

constexpr std::uint64_t none = ~std::uint64_t{0};

ReferencePulses watched(unsigned input, double hz, double fast_ppm, Nanos lasts,
                        std::uint64_t missing = none) {
  ServedBoard served(std::make_unique<ReferenceOnPin>(input, hz, fast_ppm, missing));
  BoardConnection connection(served.port(), served.take_clock());
  return watch_reference(connection, input, lasts);
}

TEST(BoardCalibration, FindsAClockThatIsOffByAKnownAmount) {
  for (const double fast : {-180.0, -3.5, 0.0, 42.0, 400.0}) {
    const unsigned input = fast < 0 ? 0 : 7;
    const Calibration found = calibrate(watched(input, 10, fast, 12 * ns_per_s), {10, 0});
    EXPECT_NEAR(found.fast_ppm, fast, 0.5);
    EXPECT_GE(found.pulses, 120u) << fast;
    EXPECT_LT(found.scatter_us, 5) << fast;
  }
}

TEST(BoardCalibration, RefusesAReferenceWithAPulseMissing) {
  try {
    calibrate(watched(2, 1, 20, 15 * ns_per_s, 7), {1, 0});
    FAIL() << "corrected";
  } catch (const RigError& e) {
    EXPECT_THAT(e.what(),
                ::testing::MatchesRegex(
                    "calibrating the board's clock: 14 pulses of the reference were seen in 15.[0-9] s, and "
                    "1 Hz make 15: 1 missing, 0 too many, 0 out of time. Check --hz, the reference and its "
                    "wire; nothing is corrected"));
  }
}

TEST(BoardCalibration, ComesOutOfPlayedIntervalsAndStamps) {
  constexpr double fast_ppm = 250;
  BoardSettings settings;
  settings.wires = {{"in0", 1}};
  settings.clock = {fast_ppm, 6, "2031-03-14"};
  // By true time this is exactly 10 Hz.
  BenchWithBoard bench(settings, std::make_unique<ReferenceOnPin>(0, 10, fast_ppm));
  EXPECT_EQ(bench.rig().source->facts().clock_ppm, 6);
  EXPECT_THAT(bench.rig().source->facts().description,
              ::testing::EndsWith(", clock calibrated 2031-03-14: +250.00 ppm taken out"));
  test::Signal signal(2);
  signal.hold(3000, 10);
  const auto run = bench.run(signal.pulses(), signal.until());

  // A true second is 16,004,000 of the board's cycles.
  std::vector<Cycles> rising;
  for (const PinEdge& edge : bench.board().tach_edges())
    if (edge.rising) rising.push_back(edge.at);
  ASSERT_EQ(rising.size(), signal.pulses().size());
  for (std::size_t i = 1; i < rising.size(); ++i) {
    const double true_ns = static_cast<double>(signal.pulses()[i] - signal.pulses()[0]);
    EXPECT_NEAR(static_cast<double>(rising[i] - rising[0]), true_ns * 0.016 * (1 + fast_ppm * 1e-6), 8) << i;
  }
  std::vector<Nanos> lit;
  for (const LampEvent& event : run.events)
    if (event.lit != 0 && event.at > 0) lit.push_back(event.at);
  ASSERT_GT(lit.size(), 90u);
  for (std::size_t i = 1; i < lit.size(); ++i)
    EXPECT_NEAR(static_cast<double>(lit[i] - lit[0]), static_cast<double>(i) * 100e6, 14e3) << i;
}

TEST(BoardCalibration, IsAnHonestReasonForABoardThatIsNoCrystals) {
  // Uncorrected by 500 ppm more than it says: the clock check still looks.
  BoardSettings settings;
  settings.wires = {{"in0", 1}};
  settings.clock = {-400, 6, "2031-03-14"};
  BenchWithBoard bench(settings, nullptr, 1 - 600e-6);
  test::Signal signal(2);
  signal.hold(1000, 40);
  EXPECT_THROW(bench.run(signal.pulses(), signal.until()), RigError);
}

// What the program prints for these words, with the board paced by the wall clock.
std::string printed(const std::vector<std::string>& words, int status = 0) {
  EmulatedBoard board(TACHPROOF_BOARD_ELF);
  BoardServer server(board);
  std::atomic<bool> stop = false;
  std::thread serving([&] { server.serve_paced(stop); });
  std::vector<std::string> texts = words;
  for (std::string& text : texts)
    if (text == "PORT") text = server.port();
  std::vector<char*> pointers;
  for (std::string& text : texts) pointers.push_back(text.data());
  constexpr std::array commands{CommandMaker{make_ports_command}};
  ::testing::internal::CaptureStdout();
  const int got = run_command_line(pointers, commands);
  std::string out = ::testing::internal::GetCapturedStdout();
  stop = true;
  serving.join();
  EXPECT_EQ(got, status) << out;
  const auto at = out.find(server.port());
  if (at != std::string::npos) out.replace(at, server.port().size(), "PORT");
  return out;
}

TEST(PortsCommand, PrintsWhatTheBoardSaysOfItself) {
  EXPECT_THAT(
      printed({"ports", "--hello", "PORT"}),
      ::testing::MatchesRegex("The board on PORT\n"
                              "  firmware     1.2, build [0-9a-f]+, protocol 3\n"
                              "  clock        16000000 Hz nominal, ticks of 0.5 us\n"
                              "  inputs       in0 to in7; a change is stamped after 2 us, up to 17 us late\n"
                              "  outputs      4: two for presses, the sync lamp, the supply\n"
                              "  train        255 intervals ahead, 44 us the shortest\n"));
  const auto json = nlohmann::json::parse(printed({"ports", "--hello", "PORT", "--json"}));
  EXPECT_EQ(json["clock_hz"], 16'000'000);
  EXPECT_EQ(json["protocol"], 3);
  EXPECT_EQ(json["shortest_interval_us"], 44);
}

TEST(PortsCommand, IsUndecidedAboutAPortThatIsNotThere) {
  EXPECT_EQ(printed({"ports", "--hello", "/dev/no-such-port"}, 3), "");
}

}  // namespace
}  // namespace tachproof

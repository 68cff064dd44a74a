// Recordings that other programs wrote, and what other programs make of ours.
// Provenance of the files: fixtures/recordings/README.md.
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <string>

#include "tests/bench/recording_support.h"
#include "tests/bench/scratch_file.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

fs::path recording(const std::string& name) {
  return fs::path(TACHPROOF_SOURCE_DIR) / "fixtures" / "recordings" / name;
}

bool runs(const std::string& command) { return std::system((command + " >/dev/null 2>&1").c_str()) == 0; }

bool is_there(const std::string& program) { return runs("command -v " + program); }

TEST(OtherProgramsRecordings, OfIcarusVerilogAreRead) {
  // fixtures/recordings/lamps.v says what happens when.
  const auto reader =
      open_recording(recording("icarus.vcd"), {"bench.tach", "left", "lamps[0]", "top.lamp+1"});
  EXPECT_EQ(reader->resolution(), 100);
  EXPECT_EQ(reader->channels(),
            (std::vector<std::string>{"bench.left", "bench.lamps[3]", "bench.lamps[2]", "bench.lamps[1]",
                                      "bench.lamps[0]", "bench.tach", "bench.top.lamp+1", "bench.u.tach",
                                      "bench.u.half", "left", "lamps[3]", "lamps[2]", "lamps[1]", "lamps[0]",
                                      "tach", "top.lamp+1", "half"}));
  const Recorded r = read_all(*reader);
  const Nanos ms = ns_per_ms;
  EXPECT_EQ(r.changes, (Changes{{0, 0, low},
                                {0, 1, low},
                                {0, 2, low},
                                {0, 3, high},
                                {5 * ms, 1, high},
                                {5 * ms, 0, high},
                                {10 * ms, 2, high},
                                {10 * ms, 0, low},
                                {12'500'000, 0, unknown},
                                {12'500'000, 1, unknown},
                                {12'500'000, 2, unknown},
                                {12'500'000, 3, unknown},
                                {17'500'000, 3, high},
                                {17'500'000, 0, high},
                                {17'500'000, 2, high},
                                {17'500'000, 1, high},
                                {20 * ms, 1, unknown},
                                {20 * ms, 2, unknown},
                                {20 * ms, 0, low}}));
  EXPECT_EQ(r.end, 25 * ms);
  EXPECT_FALSE(r.truncated);
}

TEST(OtherProgramsRecordings, OfSigrokAreRead) {
  // fixtures/recordings/samples.csv, at 20 kHz.
  const auto reader = open_recording(recording("sigrok.vcd"), {"tach", "left", "libsigrok.mid"});
  EXPECT_EQ(reader->resolution(), 10'000);
  const Recorded r = read_all(*reader);
  EXPECT_EQ(r.changes, (Changes{{0, 0, low},
                                {0, 1, low},
                                {0, 2, low},
                                {50'000, 0, high},
                                {150'000, 0, low},
                                {150'000, 1, high},
                                {250'000, 0, high},
                                {300'000, 2, high},
                                {350'000, 0, low},
                                {350'000, 1, low}}));
  EXPECT_EQ(r.end, 450'000);
  EXPECT_FALSE(r.truncated);
}

// A tach and two lamps, as one run might leave them.
Recorded write_run(const fs::path& file) {
  VcdWriter writer(file, {"tach", "left white", "top"});
  for (std::uint32_t channel = 0; channel < 3; ++channel) writer.change(0, channel, false);
  for (Nanos i = 1; i < 400; ++i) {
    const Nanos at = i * 1'237 * ns_per_us;
    writer.change(at, 0, i % 2 == 1);
    if (i % 50 == 0) writer.change(at, 1, i % 100 == 0);
    if (i % 70 == 0) writer.change(at + 3 * ns_per_us, 2, i % 140 == 0);
  }
  writer.close(500 * ns_per_ms);
  return read_all(*open_recording(file, {"tach", "left_white", "top"}));
}

TEST(OtherPrograms, SigrokMakesTheSameOfOurFiles) {
  if (!is_there("sigrok-cli")) GTEST_SKIP() << "no sigrok-cli here";
  const ScratchFile ours("ours.vcd");
  const ScratchFile theirs("theirs.vcd");
  const Recorded written = write_run(ours.path());
  ASSERT_TRUE(runs("sigrok-cli -I vcd -i " + ours.path().string() + " -O vcd -o " + theirs.path().string()));
  const Recorded r = read_all(*open_recording(theirs.path(), {"tach", "left_white", "top"}));
  EXPECT_EQ(r.changes, written.changes);
  EXPECT_EQ(r.end, written.end);
}

TEST(OtherPrograms, GtkwaveMakesTheSameOfOurFiles) {
  if (!is_there("vcd2fst") || !is_there("fst2vcd")) GTEST_SKIP() << "no GTKWave tools here";
  const ScratchFile ours("ours.vcd");
  const ScratchFile packed("ours.fst");
  const ScratchFile theirs("theirs.vcd");
  const Recorded written = write_run(ours.path());
  ASSERT_TRUE(runs("vcd2fst " + ours.path().string() + " " + packed.path().string()));
  ASSERT_TRUE(runs("fst2vcd -f " + packed.path().string() + " -o " + theirs.path().string()));
  const Recorded r = read_all(*open_recording(theirs.path(), {"tach", "left_white", "top"}));
  EXPECT_EQ(r.changes, written.changes);
  EXPECT_EQ(r.end, written.end);
}

}  // namespace
}  // namespace tachproof

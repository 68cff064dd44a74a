// The VCD writer: what it writes, word for word; that the reader gets back
// what was written; and that it does not lose an error.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <optional>
#include <string>
#include <system_error>

#include "tests/bench/recording_support.h"
#include "tests/bench/scratch_file.h"

namespace tachproof {
namespace {

TEST(VcdWriter, WritesWhatOtherProgramsLike) {
  const ScratchFile file("capture.vcd");
  VcdWriter writer(file.path(), {"tach", "left white"});
  writer.change(0, 0, false);
  writer.change(0, 1, true);
  writer.change(1'500'000, 0, true);
  writer.change(1'500'400, 1, true);  // as it was
  writer.change(2'000'499, 1, false);
  writer.close(3'000'000);
  EXPECT_EQ(file.text(),
            "$version tachproof $end\n"
            "$timescale 1 us $end\n"
            "$scope module tachproof $end\n"
            "$var wire 1 ! tach $end\n"
            "$var wire 1 \" left_white $end\n"
            "$upscope $end\n"
            "$enddefinitions $end\n"
            "#0\n$dumpvars\n0!\n1\"\n$end\n"
            "#1500\n1!\n"
            "#2000\n0\"\n"
            "#3000\n");
}

TEST(VcdWriter, CallsAChannelXUntilItIsTold) {
  const ScratchFile file("capture.vcd");
  VcdWriter writer(file.path(), {"a", "b"}, 100, "probe");
  writer.change(500, 1, true);
  writer.close(500);
  const std::string text = file.text();
  EXPECT_EQ(text.substr(text.find("#0")), "#0\n$dumpvars\nx!\nx\"\n$end\n#5\n1\"\n");
  EXPECT_NE(text.find("$timescale 100 ns $end\n$scope module probe $end\n"), std::string::npos);
}

TEST(VcdWriter, IsARecordingEvenWithoutAChange) {
  const ScratchFile file("capture.vcd");
  VcdWriter(file.path(), {"a"}).close(5 * ns_per_s);
  const auto reader = open_recording(file.path(), {"a"});
  const Recorded r = read_all(*reader);
  EXPECT_EQ(r.changes, (Changes{{0, 0, unknown}}));
  EXPECT_EQ(r.end, 5 * ns_per_s);
}

TEST(VcdWriter, GivesEveryWireANameOfItsOwn) {
  const ScratchFile file("capture.vcd");
  VcdWriter(file.path(),
            {"left white", "left_white", "left_white_2", "left\twhite", "$end", "\\x", "", "\xC3\xA9"})
      .close(0);
  EXPECT_EQ(
      open_recording(file.path(), {})->channels(),
      (std::vector<std::string>{"tachproof.left_white", "tachproof.left_white_2", "tachproof.left_white_2_2",
                                "tachproof.left_white_3", "tachproof._end", "tachproof._x",
                                "tachproof.unnamed", "tachproof.__", "left_white", "left_white_2",
                                "left_white_2_2", "left_white_3", "_end", "_x", "unnamed", "__"}));
}

TEST(VcdWriter, NumbersCodesFromTheExclamationMark) {
  // Base 94, first '!', second '"': pyvcd vcd/writer.py.
  const ScratchFile file("capture.vcd");
  std::vector<std::string> names;
  for (int i = 0; i < 9000; ++i) names.push_back("c" + std::to_string(i));
  VcdWriter writer(file.path(), names);
  for (std::uint32_t i = 0; i < names.size(); ++i) writer.change(i * ns_per_us, i, true);
  writer.close(9 * ns_per_ms);
  EXPECT_NE(file.text().find("$var wire 1 ~ c93 $end\n$var wire 1 !! c94 $end\n$var wire 1 \"! c95 $end\n"),
            std::string::npos);
  const Recorded r = read_all(*open_recording(file.path(), {"c0", "c94", "c8929", "c8930", "c8999"}));
  EXPECT_EQ(Changes(r.changes.begin() + 5, r.changes.end()),
            (Changes{{94'000, 1, high}, {8'929'000, 2, high}, {8'930'000, 3, high}, {8'999'000, 4, high}}));
}

TEST(VcdWriter, HandsOverToTheKernelWhenTold) {
  const ScratchFile file("capture.vcd");
  VcdWriter writer(file.path(), {"a"});
  writer.change(0, 0, true);
  writer.flush();
  EXPECT_EQ(read_all(*open_recording(file.path(), {"a"})).changes, (Changes{{0, 0, high}}));
  writer.change(0, 0, false);
  writer.change(2'000, 0, true);
  writer.flush();
  EXPECT_EQ(read_all(*open_recording(file.path(), {"a"})).end, 2'000);
}

TEST(VcdWriter, LeavesWhatItHasWhenItIsNotClosed) {
  const ScratchFile file("capture.vcd");
  {
    VcdWriter writer(file.path(), {"a"});
    writer.change(0, 0, true);
    writer.change(7'000, 0, false);
  }
  const Recorded r = read_all(*open_recording(file.path(), {"a"}));
  EXPECT_EQ(r.changes, (Changes{{0, 0, high}, {7'000, 0, low}}));
}

TEST(VcdWriter, RefusesTimesThatGoBackwardsAndOddTimescales) {
  const ScratchFile file("capture.vcd");
  VcdWriter writer(file.path(), {"a"});
  writer.change(5'000, 0, true);
  const auto message = [](auto&& does) -> std::string {
    try {
      does();
    } catch (const std::invalid_argument& e) {
      return e.what();
    }
    return "";
  };
  EXPECT_EQ(message([&] { writer.change(4'000, 0, false); }), "a change at 4000 ns, before the last one");
  EXPECT_EQ(message([&] { writer.change(-1, 0, false); }), "a change at -1 ns, before the beginning");
  EXPECT_EQ(message([&] { VcdWriter(file.path(), {"a"}, 3); }),
            "a VCD timescale of 3 ns; 1, 10 or 100 of ns, us, ms or s");
}

TEST(VcdWriter, ReportsAFullDisk) {
  if (::access("/dev/full", W_OK) != 0) GTEST_SKIP() << "no /dev/full here";
  const auto code = [](auto&& does) {
    try {
      does();
    } catch (const std::system_error& e) {
      return std::string(e.what());
    }
    return std::string();
  };
  EXPECT_EQ(code([] { VcdWriter("/dev/full", {"a"}).close(0); }),
            "writing /dev/full: No space left on device");
  EXPECT_EQ(code([] { VcdWriter("/dev/full", {"a"}).flush(); }),
            "writing /dev/full: No space left on device");
  EXPECT_EQ(code([] {
              VcdWriter writer("/dev/full", {"a"});
              for (Nanos i = 0; i < 100'000; ++i) writer.change(i * ns_per_us, 0, i % 2 == 0);
            }),
            "writing /dev/full: No space left on device");
  EXPECT_EQ(code([] { VcdWriter("/nowhere/capture.vcd", {"a"}); }),
            "creating /nowhere/capture.vcd: No such file or directory");
}

RC_GTEST_PROP(VcdRoundTrip, GivesBackEveryChange, ()) {
  const auto channels = *rc::gen::inRange<std::uint32_t>(1, 120);
  const Nanos timescale = *rc::gen::element<Nanos>(1, 10, 100, ns_per_us);
  const auto steps = *rc::gen::container<std::vector<std::tuple<std::uint32_t, std::uint32_t, bool>>>(
      rc::gen::tuple(rc::gen::inRange<std::uint32_t>(0, 2'000'000), rc::gen::inRange(0u, channels),
                     rc::gen::arbitrary<bool>()));
  const ScratchFile file("capture.vcd");
  std::vector<std::string> names;
  for (std::uint32_t i = 0; i < channels; ++i) names.push_back("c" + std::to_string(i));

  Changes later;
  std::vector<Level> levels(channels, unknown);
  Changes initial;
  Nanos at = 0;
  {
    VcdWriter writer(file.path(), names, timescale);
    for (const auto& [gap, channel, is_high] : steps) {
      if (gap % 2 == 1) at += static_cast<Nanos>(gap) * timescale;  // else at the same instant
      writer.change(at, channel, is_high);
      const Level level = is_high ? high : low;
      if (levels[channel] == level) continue;
      levels[channel] = level;
      if (at > 0) later.push_back({at, channel, level});
      if (at == 0) initial.push_back({0, channel, level});
    }
    writer.close(at + timescale);
  }
  Changes expected;
  for (std::uint32_t i = 0; i < channels; ++i) {
    expected.push_back({0, i, unknown});
    for (const ChannelChange& c : initial) {
      if (c.channel == i) expected.back().level = c.level;
    }
  }
  expected.insert(expected.end(), later.begin(), later.end());
  const Recorded r = read_all(*open_recording(file.path(), names), 7);
  RC_ASSERT(r.changes == expected);
  RC_ASSERT(r.end == at + timescale);
  RC_ASSERT(!r.truncated);
}

}  // namespace
}  // namespace tachproof

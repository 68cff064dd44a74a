// A rig's tile: from a scanned serial number to a result, without a browser.
#include "bench/page/tile.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "bench/page/bench_place.h"
#include "bench/record/summary.h"
#include "tests/page/comes_true.h"
#include "tests/page/small_shop.h"

namespace tachproof {
namespace {

using State = TileView::State;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

class TileTest : public ::testing::Test {
 protected:
  SmallShop files;

  // A tile of this rig with a job that plays this.
  std::unique_ptr<Tile> tile(const std::string& plays, const std::string& rig, const std::string& more = "",
                             bool real_time = false) {
    files.write_job("one.yaml", "One", plays, rig, more);
    shop = std::make_unique<Shop>(files.folder());
    auto made = std::make_unique<Tile>(*shop, "rigs/" + rig + ".yaml", settings(real_time));
    made->choose("jobs/one.yaml");
    return made;
  }
  static TileSettings settings(bool real_time = false) { return {real_time, "", true}; }
  static bool comes_to(const Tile& tile, State state) {
    return comes_true([&] { return tile.view().state == state; });
  }

  std::unique_ptr<Shop> shop;
};

TEST_F(TileTest, ASoundUnitPasses) {
  const auto bench = tile("../scenarios/short.yaml", "bench-1");
  bench->start("E-1", false);
  ASSERT_TRUE(comes_to(*bench, State::result)) << bench->view().trouble;
  const TileView view = bench->view();
  EXPECT_EQ(view.verdict, Verdict::pass);
  EXPECT_EQ(view.serial, "E-1");
  ASSERT_EQ(view.played.size(), 1u);
  EXPECT_EQ(view.played[0].record->unit_serial, "E-1");
  EXPECT_TRUE(shop->run_folder(view.played[0].name));
}

TEST_F(TileTest, AFaultyUnitFailsWithItsCause) {
  const auto bench = tile("../scenarios/short.yaml", "bench-2");
  bench->start("E-2", false);
  ASSERT_TRUE(comes_to(*bench, State::result));
  EXPECT_EQ(bench->view().verdict, Verdict::fail);
  EXPECT_THAT(in_one_line(bench->view().played[0].record->causes), HasSubstr("hasty"));
}

TEST_F(TileTest, AWrongSerialNumberIsSaidAndNothingStarts) {
  const auto bench = tile("../scenarios/short.yaml", "bench-1", "serial: {pattern: \"E-[0-9]+\"}\n");
  bench->start("X", false);
  EXPECT_EQ(bench->view().state, State::waiting);
  EXPECT_THAT(bench->view().trouble, HasSubstr("'X' is no serial number of this job"));
  EXPECT_FALSE(std::filesystem::exists(shop->runs()));
  bench->start("E-3", false);
  ASSERT_TRUE(comes_to(*bench, State::result));
  EXPECT_THAT(bench->view().trouble, IsEmpty());
}

TEST_F(TileTest, TheNextScanStartsFromTheResult) {
  const auto bench = tile("../scenarios/short.yaml", "bench-1");
  for (const char* serial : {"E-1", "E-2", "E-3"}) {
    bench->start(serial, false);
    ASSERT_TRUE(
        comes_true([&] { return bench->view().state == State::result && bench->view().serial == serial; }));
  }
  bench->next();
  EXPECT_EQ(bench->view().state, State::waiting);
  EXPECT_EQ(bench->view().played[0].record->unit_serial, "E-3");  // the last result stays to be read
}

TEST_F(TileTest, AQuestionHoldsTheRunUntilItIsAnswered) {
  const auto bench = tile("../scenarios/asks.yaml", "bench-1");
  bench->start("E-4", false);
  ASSERT_TRUE(comes_to(*bench, State::asking));
  EXPECT_EQ(bench->view().question->question, "Which lamp is lit?");
  bench->answer("NONE");
  ASSERT_TRUE(comes_to(*bench, State::result));
  EXPECT_EQ(bench->view().played[0].record->result.answers.at(0).verdict, Verdict::pass);
  EXPECT_EQ(bench->view().played[0].record->result.answers.at(0).answer, "NONE");
}

TEST_F(TileTest, StopKeepsWhatWasMeasuredAndIsNoPass) {
  const auto bench = tile("../scenarios/endless.yaml", "bench-1", "", true);
  bench->start("E-5", false);
  ASSERT_TRUE(comes_to(*bench, State::running));
  ASSERT_TRUE(
      comes_true([&] { return bench->feed()->since(0).text.find("event: lamps") != std::string::npos; }));
  bench->stop();
  ASSERT_TRUE(comes_to(*bench, State::result));
  const RunRecord& record = *bench->view().played[0].record;
  EXPECT_EQ(bench->view().verdict, Verdict::undecided);
  EXPECT_FALSE(record.result.complete);
  EXPECT_THAT(reason(record), HasSubstr("stopped at the bench page"));
}

TEST_F(TileTest, ADwellSaysHowLongItWillTake) {
  files.write("scenarios/dwell.yaml",
              "format: 1\nkind: scenario\nname: quiet\nseed: 3\n"
              "dwell: {limit_per_min: 1, confidence: 0.95, longest: 30min}\nnoise: {jitter_us: 5}\n");
  const auto bench = tile("../scenarios/dwell.yaml", "bench-1", "", true);
  bench->start("E-7", false);
  ASSERT_TRUE(comes_true([&] { return !bench->view().announced.empty(); }));
  EXPECT_THAT(bench->view().announced, HasSubstr("The dwell of 2 boundaries takes about "));
  EXPECT_THAT(tile_html(bench->view(), {}, true), HasSubstr(bench->view().announced));
  bench->stop();
  ASSERT_TRUE(comes_to(*bench, State::result));
}

TEST_F(TileTest, StopAtAQuestionEndsIt) {
  const auto bench = tile("../scenarios/asks.yaml", "bench-1");
  bench->start("E-6", false);
  ASSERT_TRUE(comes_to(*bench, State::asking));
  bench->stop();
  ASSERT_TRUE(comes_to(*bench, State::result));
  EXPECT_EQ(bench->view().verdict, Verdict::undecided);
}

TEST_F(TileTest, ThePartsOfAJobComeOneAfterTheOtherAndTheWorstCounts) {
  const auto bench = tile("[../scenarios/short.yaml, {survey: {within: 2}}]", "bench-1");
  bench->start("E-7", false);
  ASSERT_TRUE(comes_to(*bench, State::result));
  ASSERT_EQ(bench->view().played.size(), 2u);
  EXPECT_EQ(bench->view().verdict, Verdict::pass);
  EXPECT_THAT(bench->view().played[1].name, HasSubstr("/2-survey"));
  // Each part has a report, which says of what; one key opens one of them.
  const std::string html = bench_html({bench->view()}, {});
  EXPECT_THAT(html, HasSubstr(">Report: up and down <small>(P)</small></a>"));
  EXPECT_THAT(html, HasSubstr(">Report: survey</a>"));
  const std::size_t key = html.find("data-key=\"report\"");
  EXPECT_EQ(html.find("data-key=\"report\"", key + 1), html.npos);
}

TEST_F(TileTest, AScanDuringARunChangesNothing) {
  const auto bench = tile("../scenarios/endless.yaml", "bench-1", "", true);
  bench->start("E-8", false);
  ASSERT_TRUE(comes_to(*bench, State::running));
  bench->start("E-9", false);
  bench->choose("jobs/other.yaml");
  bench->next();
  bench->answer("x");
  EXPECT_EQ(bench->view().serial, "E-8");
  EXPECT_EQ(bench->view().state, State::running);
}

TEST_F(TileTest, AJobThatCannotBeReadSaysWhereItIsWrong) {
  files.write("jobs/one.yaml", "format: 1\nkind: job\nname: x\n");
  shop = std::make_unique<Shop>(files.folder());
  Tile bench(*shop, "rigs/bench-1.yaml", settings());
  bench.choose("jobs/one.yaml");
  EXPECT_THAT(bench.view().trouble, HasSubstr("one.yaml:"));
  bench.start("E-1", false);
  EXPECT_EQ(bench.view().state, State::waiting);
}

TEST_F(TileTest, ASerialThatHasPassedAsksFirst) {
  files.write_job("one.yaml", "One", "../scenarios/short.yaml", "bench-1");
  shop = std::make_unique<Shop>(files.folder());
  Tile bench(*shop, "rigs/bench-1.yaml", {false, (files.folder() / "history.db").string(), false});
  bench.choose("jobs/one.yaml");
  bench.start("E-1", false);
  ASSERT_TRUE(comes_to(bench, State::result));
  bench.start("E-1", false);
  EXPECT_EQ(bench.view().state, State::waiting);
  EXPECT_NE(bench.view().passed_before, "");
  bench.start("E-1", true);
  ASSERT_TRUE(comes_to(bench, State::result));
  bench.start("E-2", false);
  ASSERT_TRUE(comes_to(bench, State::result));
}

TEST_F(TileTest, FindingsComeWhileTheRunGoes) {
  const auto bench = tile("../scenarios/short.yaml", "bench-2");
  bench->start("E-2", false);
  ASSERT_TRUE(comes_to(*bench, State::result));
  const std::string told = bench->feed()->since(0).text;
  EXPECT_THAT(told, HasSubstr("event: finding\ndata: {\"list\":[\""));
  EXPECT_THAT(told, HasSubstr("event: rpm"));
}

}  // namespace
}  // namespace tachproof

// The bench page and a board: emulated, in a process of its own, by the wall clock.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>

#include "tests/page/operator.h"
#include "tests/page/plugged_board.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

#ifdef TACHPROOF_EMULATED_BOARD

namespace tachproof {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::Matches;
using testing::Not;
using testing::SizeIs;

class BoardPage : public OperatorTest {
 protected:
  void SetUp() override {
    OperatorTest::SetUp();
    write_board_rig(shop);
    shop.write_job("board.yaml", "Two lamps on the board", "../scenarios/short.yaml", "board");
  }
  std::string port() const { return board_port(shop); }
  void plug_in(const std::string& rig) { board = std::make_unique<PluggedBoard>(shop, rig); }

  std::unique_ptr<PluggedBoard> board;
  const std::string tile = std::string("#tile-") + board_tile;
};

TEST_F(BoardPage, SaysTheCautionsAndPassesASoundUnit) {
  plug_in("bench-1");
  const ServedShop served(shop.folder());
  open(served);
  EXPECT_THAT(
      driven().text(".caution"),
      AllOf(HasSubstr("fused supply"), HasSubstr("ignition voltages kill"), HasSubstr("rotating parts"),
            HasSubstr("Local codes, the series' rules and licensed practice come first.")));
  look("board-waiting");
  scan("TL-1");
  ASSERT_TRUE(driven().comes(in_state(tile, "running")));
  ASSERT_TRUE(driven().comes(in_state(tile, "result")));
  EXPECT_EQ(driven().text(".verdict strong"), "PASS") << driven().text(tile);
  EXPECT_FALSE(driven().has(".simulated"));
  expect_no_complaints();
}

TEST_F(BoardPage, SaysWhyAUnitFails) {
  plug_in("bench-2");
  const ServedShop served(shop.folder());
  open(served);
  scan("TL-2");
  ASSERT_TRUE(driven().comes(in_state(tile, "result")));
  EXPECT_EQ(driven().text(".verdict strong"), "FAIL") << driven().text(tile);
  EXPECT_THAT(driven().text(".cause"), HasSubstr("hasty"));
}

TEST_F(BoardPage, SaysThatTheBoardWasPulledOutInTheMiddle) {
  shop.write_job("board.yaml", "Without an end", "../scenarios/endless.yaml", "board");
  plug_in("bench-1");
  const ServedShop served(shop.folder());
  open(served);
  scan("TL-3");
  ASSERT_TRUE(driven().comes(in_state(tile, "running")));
  ASSERT_TRUE(driven().comes_text(tile + " .rpm .value", "2500"));
  board->pull_out();
  ASSERT_TRUE(driven().comes(in_state(tile, "result")));
  EXPECT_EQ(driven().text(".verdict strong"), "UNDECIDED");
  EXPECT_THAT(driven().text(tile), AllOf(HasSubstr("The board on " + port() + " has been unplugged."),
                                         HasSubstr("run it again, to the end"),
                                         Not(HasSubstr("the board on " + port() + " has"))));
  look("board-unplugged");
  ASSERT_THAT(shop.runs(), SizeIs(1));
  EXPECT_EQ(shop.result(shop.runs()[0])["verdict"], "undecided");
  EXPECT_EQ(shop.result(shop.runs()[0])["complete"], false);
  // The next unit is not tested on what is not there; then the board is back.
  scan("TL-4");
  ASSERT_TRUE(driven().comes(tile + " .trouble"));
  EXPECT_THAT(driven().text(tile + " .trouble"), HasSubstr("there is no such port"));
  EXPECT_THAT(shop.runs(), SizeIs(1));
  shop.write_job("board.yaml", "Two lamps on the board", "../scenarios/short.yaml", "board");
  plug_in("bench-1");
  scan("TL-4");
  ASSERT_TRUE(driven().comes(in_state(tile, "result")));
  EXPECT_EQ(driven().text(".verdict strong"), "PASS") << driven().text(tile);
  expect_no_complaints();
}

// In a terminal, and then by another page.
TEST_F(BoardPage, SaysWhoElseHasTheRig) {
  shop.write_job("board.yaml", "Without an end", "../scenarios/endless.yaml", "board");
  plug_in("bench-1");
  const ServedShop served(shop.folder());
  open(served);
  const auto is_refused = [&](const std::string& serial) {
    const std::size_t before = shop.runs().size();
    scan(serial);
    // For a moment the tile says that it begins: what it says and that it waits is looked for together.
    EXPECT_TRUE(comes_true([&] {
      const std::vector<std::string> troubles = driven().texts(tile + " .trouble");
      return troubles.size() == 1 && driven().has(in_state(tile, "waiting")) &&
             Matches(AllOf(HasSubstr("tachproof"), HasSubstr("process")))(troubles[0]);
    }));
    EXPECT_FALSE(driven().has(tile + " .verdict"));
    EXPECT_EQ(shop.runs().size(), before);
    driven().type(key::escape);
  };
  {
    Process terminal(
        command_line("run scenarios/endless.yaml --gauge gauges/two-lamp.yaml --rig rigs/board.yaml "
                     "--no-history --out elsewhere"),
        shop.folder());
    ASSERT_TRUE(makes_progress(shop.folder() / "elsewhere/journal.jsonl"));
    is_refused("TL-5");
    look("board-taken");
    driven().open(served.own_origin() + "/rigs");
    EXPECT_THAT(driven().text("body"), AllOf(HasSubstr("In use by "), HasSubstr(", process ")));
    terminal.signal(SIGINT);
    terminal.wait();
  }
  const ServedShop other(shop.folder());
  other.post(std::string("/tiles/") + board_tile + "/start", "serial=TL-6");
  ASSERT_TRUE(other.comes_to(board_tile, "running"));
  // The tile says "running" a moment before the run has its folder.
  ASSERT_TRUE(comes_true([&] { return shop.runs().size() == 1; }));
  open(served);
  is_refused("TL-7");
  EXPECT_EQ(other.state(board_tile), "running");
}

TEST_F(BoardPage, LooksAtItsInputsAndTestsItsLamps) {
  plug_in("bench-1");
  const ServedShop served(shop.folder());
  open(served);
  driven().open(served.own_origin() + "/rigs/rigs/board.yaml");
  look("board-rig");
  const auto outcome = [&](const std::string& what, const std::string& form) {
    served.post("/rigs/rigs/board.yaml/" + what, form);
    driven().open(served.own_origin() + "/rigs/rigs/board.yaml/" + what);
    ASSERT_TRUE(comes_true([&] { return !driven().has("[data-errand]"); }));
    look("board-" + what);
  };
  outcome("levels", "");
  EXPECT_THAT(driven().texts("td[data-of=level]"), testing::ElementsAre("low", "low"))
      << driven().text("main");
  outcome("lamp-test", "gauge=gauges/two-lamp.yaml");
  EXPECT_THAT(driven().text("main"), HasSubstr("PASS"));
}

}  // namespace
}  // namespace tachproof

#else

TEST(BoardPage, NeedsTheEmulatedBoard) {
  GTEST_SKIP() << "the emulated board was not built: simavr, libelf or the AVR tools are missing";
}

#endif

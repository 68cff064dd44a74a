// An operator's day at the bench page: a real browser, the keyboard alone.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>

#include "tests/page/operator.h"
#include "tests/program/files_for_tests.h"

namespace tachproof {
namespace {

using testing::AnyOf;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;
using testing::StartsWith;

class Operator : public OperatorTest {
 protected:
  void SetUp() override {
    PageTest::SetUp();
    shop.write_job("a-short.yaml", "Two lamps, up and down", "../scenarios/short.yaml", "bench-1",
                   "serial: {pattern: \"TL-[0-9]{3}\"}\n");
  }
};

TEST_F(Operator, ScansRunsReadsAndScansTheNext) {
  const ServedShop served(shop.folder());
  open(served);
  Browser& browser = driven();
  EXPECT_EQ(browser.focused(), std::string("input#serial-") + first_tile);
  look("waiting");
  scan("TL-1");
  ASSERT_TRUE(browser.comes(".trouble"));
  EXPECT_THAT(browser.text(".trouble"),
              StartsWith("'TL-1' is no serial number of this job; one looks like TL-[0-9]{3}"));
  EXPECT_EQ(browser.attribute(".serial input", "aria-invalid"), "true");
  EXPECT_EQ(browser.focused(), std::string("input#serial-") + first_tile);
  look("wrong-serial");
  browser.type("half a num");
  EXPECT_EQ(browser.run("return document.activeElement.value"), "half a num");
  browser.type(key::escape);
  EXPECT_EQ(browser.run("return document.activeElement.value"), "");
  scan("TL-2");
  ASSERT_TRUE(browser.comes_text(".trouble", "TL-2"));
  // The next scan takes the place of the refused one.
  scan("TL-001");
  ASSERT_TRUE(browser.comes(in_state(first, "running")));
  EXPECT_EQ(browser.text(".unit-serial"), "TL-001");
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  EXPECT_EQ(browser.text(".verdict strong"), "PASS");
  EXPECT_EQ(browser.text(".verdict .unit-serial"), "TL-001");
  EXPECT_EQ(browser.focused(), std::string("input#serial-") + first_tile);
  look("pass");
  // Straight from the result, without a key between.
  scan("TL-002");
  ASSERT_TRUE(browser.comes(in_state(first, "running")));
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  EXPECT_EQ(browser.text(".verdict .unit-serial"), "TL-002");
  // Enter alone: the next unit; the old result is one small line.
  browser.type(key::enter);
  ASSERT_TRUE(browser.comes(in_state(first, "waiting")));
  EXPECT_THAT(browser.text(".last"), StartsWith("Last: TL-002 PASS"));
  EXPECT_EQ(browser.focused(), std::string("input#serial-") + first_tile);
  EXPECT_THAT(shop.runs(), SizeIs(2));
  expect_no_complaints();
}

TEST_F(Operator, IsToldWhyAUnitFails) {
  shop.write_job("b-short.yaml", "The same on bench 2", "../scenarios/short.yaml", "bench-2");
  std::filesystem::remove(shop.folder() / "jobs/a-short.yaml");
  const ServedShop served(shop.folder());
  open(served);
  Browser& browser = driven();
  scan("TL-003");
  ASSERT_TRUE(browser.comes(in_state(second, "result")));
  EXPECT_EQ(browser.text(".verdict strong"), "FAIL");
  EXPECT_THAT(browser.text(".cause"), HasSubstr("hasty"));
  look("fail");
  // R again, and P to the report and back.
  browser.type("r");
  ASSERT_TRUE(browser.comes(in_state(second, "running")));
  ASSERT_TRUE(browser.comes(in_state(second, "result")));
  EXPECT_EQ(browser.text(".verdict .unit-serial"), "TL-003");
  EXPECT_THAT(shop.runs(), SizeIs(2));
  browser.type("p");
  ASSERT_TRUE(comes_true([&] { return browser.address().find("/runs/") != std::string::npos; }));
  EXPECT_THAT(browser.text("body"), HasSubstr("TL-003"));
  browser.go_back();
  ASSERT_TRUE(browser.comes(in_state(second, "result")));
  expect_no_complaints();
}

TEST_F(Operator, IsAskedAgainForAUnitThatHasPassed) {
  const ServedShop served(shop.folder(), "--history history.db");
  open(served);
  Browser& browser = driven();
  scan("TL-004");
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  scan("TL-004");
  ASSERT_TRUE(browser.comes(".again"));
  EXPECT_THAT(browser.text(".again p"), StartsWith("TL-004 has passed on "));
  look("again");
  EXPECT_THAT(shop.runs(), SizeIs(1));
  EXPECT_EQ(browser.focused(), "button");
  browser.type(key::enter);
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  EXPECT_TRUE(comes_true([&] { return shop.runs().size() == 2; }));
  // And the other answer.
  scan("TL-004");
  ASSERT_TRUE(browser.comes(".again"));
  browser.type(std::string(key::tab) + key::enter);
  ASSERT_TRUE(browser.comes(".serial input"));
  EXPECT_EQ(browser.focused(), std::string("input#serial-") + first_tile);
  EXPECT_THAT(shop.runs(), SizeIs(2));
  expect_no_complaints();
}

TEST_F(Operator, AnswersAQuestion) {
  shop.write_job("a-short.yaml", "Two lamps, with a question", "../scenarios/asks.yaml", "bench-1");
  const ServedShop served(shop.folder());
  open(served);
  Browser& browser = driven();
  scan("TL-005");
  ASSERT_TRUE(browser.comes(in_state(first, "asking")));
  EXPECT_EQ(browser.text(".question"), "Which lamp is lit?");
  EXPECT_EQ(browser.focused(), std::string("input#answer-") + first_tile);
  look("asking");
  scan("none");
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  EXPECT_EQ(browser.text(".verdict strong"), "PASS");
  EXPECT_EQ(shop.result(shop.runs().at(0))["answers"][0]["answer"], "none");
  expect_no_complaints();
}

TEST_F(Operator, StopsARunByEscapeTwice) {
  shop.write_job("a-short.yaml", "Without an end", "../scenarios/endless.yaml", "bench-1");
  const ServedShop served(shop.folder());
  open(served);
  Browser& browser = driven();
  scan("TL-006");
  ASSERT_TRUE(browser.comes(in_state(first, "running")));
  EXPECT_TRUE(browser.comes_text(".rpm .value", "2500"));
  look("running");
  browser.type(key::escape);
  EXPECT_TRUE(browser.has(in_state(first, "running")));
  browser.run("return new Promise((done) => setTimeout(done, 1100))");  // too late for the second
  browser.type(key::escape);
  browser.run("return new Promise((done) => setTimeout(done, 1100))");
  EXPECT_TRUE(browser.has(in_state(first, "running")));
  browser.type(std::string(key::escape) + key::escape);
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  EXPECT_EQ(browser.text(".verdict strong"), "UNDECIDED");
  look("undecided");
  EXPECT_EQ(shop.result(shop.runs().at(0))["complete"], false);
  expect_no_complaints();
}

TEST_F(Operator, WorksAtTwoRigsAtOnce) {
  shop.write_job("b-asks.yaml", "A question on bench 2", "../scenarios/asks.yaml", "bench-2");
  const ServedShop served(shop.folder());
  open(served);
  Browser& browser = driven();
  EXPECT_THAT(browser.texts(".tile .rig"), SizeIs(2));
  look("two-tiles");
  scan("TL-007");
  browser.run("document.querySelector(arguments[0] + ' .serial input').focus()", {second});
  scan("TL-008");
  ASSERT_TRUE(browser.comes(in_state(second, "running") + ", " + in_state(second, "asking")));
  ASSERT_TRUE(browser.comes(in_state(second, "asking")));
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  EXPECT_THAT(browser.text(second + " .rig"), HasSubstr("waits for you"));
  EXPECT_EQ(browser.text(first + " .unit-serial"), "TL-007");
  look("two-tiles-one-asks");
  // The focus has stayed at the rig that the person worked at last.
  EXPECT_EQ(browser.focused(), std::string("input#answer-") + second_tile);
  scan("none");
  ASSERT_TRUE(browser.comes(in_state(second, "result")));
  EXPECT_EQ(browser.text(first + " .verdict strong"), "PASS");
  EXPECT_EQ(browser.text(second + " .verdict strong"), "FAIL");
  look("two-results");
  expect_no_complaints();
}

// A browser opens six connections to one server and no more.
TEST_F(Operator, WorksAtEightRigs) {
  for (int i = 3; i <= 9; ++i) {
    const std::string rig = "bench-" + std::to_string(i);
    shop.write("rigs/" + rig + ".yaml",
               "format: 1\nkind: rig\nsource: {kind: simulated}\n"
               "watch: {kind: simulated, unit: ../gauges/two-lamp.yaml, behaviour: {response_ms: 20}}\n");
    shop.write_job(rig + ".yaml", "Job of " + rig, "../scenarios/short.yaml", rig);
  }
  const ServedShop served(shop.folder());
  open(served);
  Browser& browser = driven();
  EXPECT_THAT(browser.texts(".tile .rig"), SizeIs(8));
  scan("TL-009");
  ASSERT_TRUE(browser.comes(in_state(first, "running"))) << browser.text(first);
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  look("eight-rigs");
}

TEST_F(Operator, SeesTheSameInTwoBrowsersAndMissesNothingByClosingOne) {
  const ServedShop served(shop.folder());
  open(served);
  Browser other;
  other.open(served.address());
  Browser& browser = driven();
  scan("TL-010");
  ASSERT_TRUE(other.comes(in_state(first, "running")));
  browser.open("about:blank");
  ASSERT_TRUE(other.comes(in_state(first, "result")));
  open(served);
  EXPECT_EQ(browser.text(".verdict strong"), "PASS");
  EXPECT_EQ(other.text(".verdict .unit-serial"), "TL-010");
  EXPECT_EQ(shop.result(shop.runs().at(0))["verdict"], "pass");
}

TEST_F(Operator, NeedsNoScripts) {
  shop.write_job("a-short.yaml", "Two lamps, with a question", "../scenarios/asks.yaml", "bench-1",
                 "serial: {pattern: \"TL-[0-9]{3}\"}\n");
  const ServedShop served(shop.folder());
  Browser& browser = driven();
  browser.set_scripts(false);
  open(served);
  EXPECT_EQ(browser.focused(), std::string("input#serial-") + first_tile);
  scan("TL-1");
  EXPECT_TRUE(browser.comes(".trouble"));
  scan("TL-011");
  // The page looks again by itself.
  ASSERT_TRUE(browser.comes(in_state(first, "asking")));
  scan("none");
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  EXPECT_EQ(browser.text(".verdict strong"), "PASS");
  browser.click("[data-key=report]");
  EXPECT_THAT(browser.address(), HasSubstr("/runs/"));
  browser.open(served.own_origin() + "/");
  browser.click("[data-key=next]");
  EXPECT_TRUE(browser.comes(in_state(first, "waiting")));
  browser.set_scripts(true);
}

TEST_F(Operator, HearsTheColoursOfLampsInWords) {
  shop.write("scenarios/endless.yaml", files::replaced(files::endless_scenario, "hold: 2500", "hold: 4500"));
  shop.write_job("a-short.yaml", "Both lamps", "../scenarios/endless.yaml", "bench-1");
  const ServedShop served(shop.folder());
  open(served);
  Browser& browser = driven();
  scan("TL-012");
  ASSERT_TRUE(browser.comes_text("text.word", "magenta"));
  EXPECT_THAT(browser.texts("text.word"), ElementsAre("white", "magenta"));
  look("lamps-lit");
  // Who comes later sees the same.
  browser.reload();
  ASSERT_TRUE(browser.comes_text("text.word", "magenta"));
  EXPECT_THAT(browser.texts("text.word"), ElementsAre("white", "magenta"));
}

TEST_F(Operator, FindsEveryPlaceSound) {
  const ServedShop served(shop.folder(), "--history history.db");
  open(served);
  Browser& browser = driven();
  scan("TL-013");
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  for (const char* place : {"gauges", "runs", "units", "rigs", "nothing"}) {
    browser.open(served.own_origin() + "/" + place);
    look(std::string("place-") + place);
  }
}

// A page that shows what was, as if it were, is worse than none.
TEST_F(Operator, IsToldWhenTheProgramHasEnded) {
  shop.write_job("a-short.yaml", "Without an end", "../scenarios/endless.yaml", "bench-1");
  auto served = std::make_unique<ServedShop>(shop.folder());
  open(*served);
  Browser& browser = driven();
  scan("TL-014");
  ASSERT_TRUE(browser.comes(in_state(first, "running")));
  EXPECT_FALSE(browser.has(".lost"));
  served->program().signal(SIGKILL);
  served->program().wait();
  EXPECT_TRUE(browser.comes(".lost"));
  EXPECT_THAT(browser.text(".lost"), StartsWith("This page hears nothing from the bench"));
  look("lost");
}

TEST_F(Operator, IsToldOfAJobThatCannotBeRead) {
  shop.write_job("b-bad.yaml", "Bad", "../scenarios/none.yaml", "bench-2");
  const ServedShop served(shop.folder());
  open(served);
  EXPECT_THAT(driven().text(".trouble"),
              HasSubstr("b-bad.yaml:5:7: 'play' names ../scenarios/none.yaml, which is not there"));
  look("bad-job");
}

TEST_F(Operator, IsToldWhatAnEmptyShopNeeds) {
  std::filesystem::remove_all(shop.folder() / "jobs");
  const ServedShop served(shop.folder());
  open(served);
  EXPECT_EQ(driven().text("h1"), "No jobs yet");
  look("no-jobs");
}

}  // namespace
}  // namespace tachproof

// The whole day of an operator: forty units one after the other in one page that nobody loads again, with the
// keyboard alone.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>

#include "bench/history/history.h"
#include "bench/record/summary.h"
#include "tests/page/operator.h"
#include "tests/page/plugged_board.h"
#include "tests/program/files_for_tests.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;
using testing::StartsWith;

// Up over both boundaries and back. Each speed is held for longer than the gauge's greatest response, 120 ms.
constexpr const char* day_scenario = R"(format: 1
kind: scenario
name: a day's
seed: 7
profile:
  - {hold: 2900, for: 200ms}
  - {step: 4100}
  - {hold: 4100, for: 200ms}
  - {step: 2900}
  - {hold: 2900, for: 200ms}
judge: {transitions: true, steady: true, blink: true, thresholds: false}
)";

constexpr int units_a_day = 40;
constexpr int unplugged_unit = 3, asked_unit = 12, stopped_unit = 24;

// What is wrong with a unit, as the fault of a simulated one, and words of the cause that the page must give.
struct Bad {
  std::string fault, cause;
};
const std::map<int, Bad>& bad_units() {
  static const std::map<int, Bad> bad{
      {7, {"{kind: stuck-off, lamp: far}", "Lamp far is never lit"}},
      {19, {"{kind: stuck-on, lamp: near, colour: white}", "Near white is always lit"}},
      {33, {"{kind: slow-response, ms: 160}", "The unit responds in "}}};
  return bad;
}

std::string serial_of(int unit) { return fmt::format("DAY-{:02}", unit); }

std::string verdict_of_unit(int unit) {
  if (bad_units().contains(unit)) return "FAIL";
  return unit == stopped_unit || unit == unplugged_unit ? "UNDECIDED" : "PASS";
}

// What a page and its server hold on to.
struct Held {
  int nodes = 0, listeners = 0, documents = 0, streams = 0;
  double heap_mb = 0;
  std::size_t open_files = 0;
};

class OperatorsDay : public OperatorTest {
 protected:
  void SetUp() override {
    OperatorTest::SetUp();
    if (IsSkipped() || HasFatalFailure()) return;
    shop.write("scenarios/day.yaml", day_scenario);
    shop.write("scenarios/asks.yaml",
               files::replaced(day_scenario, "judge:",
                               "  - {ask: \"Which lamp is lit?\", expect: {equals: none}}\n"
                               "  - {hold: 2900, for: 200ms}\njudge:"));
    write_job("a-day.yaml", "Daily work", "day", "bench-1");
    write_job("b-asks.yaml", "Questions", "asks", "bench-1");
    write_job("c-endless.yaml", "Without an end", "endless", "bench-1");
#ifdef TACHPROOF_EMULATED_BOARD
    write_board_rig(shop);
    write_job("d-board.yaml", "On the board", "endless", "board");
#endif
    // Every stream that a page opens is counted.
    counts_streams = driven().devtools("Page.addScriptToEvaluateOnNewDocument", {{"source", R"(
      window.streams = 0;
      window.EventSource = class extends EventSource {
        constructor(...all) { super(...all); ++window.streams; }
      };)"}})["identifier"];
  }
  void TearDown() override {
    if (!counts_streams.empty())
      driven().devtools("Page.removeScriptToEvaluateOnNewDocument", {{"identifier", counts_streams}});
    OperatorTest::TearDown();
  }
  void write_job(const std::string& file, const std::string& name, const std::string& scenario,
                 const std::string& rig) const {
    shop.write_job(file, name, "../scenarios/" + scenario + ".yaml", rig,
                   "serial: {pattern: \"DAY-[0-9]{2}\"}\n");
  }

  void expect_ready() { EXPECT_EQ(driven().focused(), std::string("input#serial-") + first_tile); }
  void expect_result(const std::string& tile, int unit) {
    const std::string serial = in_state(tile, "result") + " .verdict .unit-serial";
    ASSERT_TRUE(driven().comes_text(serial, serial_of(unit))) << driven().text("main");
    EXPECT_EQ(driven().text(tile + " .verdict strong"), verdict_of_unit(unit)) << driven().text("main");
  }
  // Enter alone: the result is one line now, and says the same.
  void go_to_waiting(int last) {
    driven().type(key::enter);
    ASSERT_TRUE(driven().comes(in_state(first, "waiting")));
    expect_ready();
    EXPECT_THAT(driven().text(first + " .last"),
                StartsWith("Last: " + serial_of(last) + " " + verdict_of_unit(last)));
  }
  // By its first letter.
  void choose_job(const std::string& name) {
    go_to(first, "select");
    driven().type(name.substr(0, 1));
    ASSERT_TRUE(driven().comes_text(first + " h2", name));
    expect_ready();
  }

  void work_on(int unit);
  void be_asked(int unit);
  void stop(int unit);
  void lose_the_board(int unit);
  void scan_a_wrong_number(int last);
  void scan_one_that_has_passed(int last);
  Held held(ServedShop& served);
  static void expect_no_more(const Held& early, const Held& late);
  // Every unit is in the history once, with its verdict, and in a run folder of its own.
  void expect_none_lost() const;

  std::string counts_streams;
};

// As on most of them: scan, watch, read; the next.
void OperatorsDay::work_on(int unit) {
  const auto bad = bad_units().find(unit);
  shop.write_rig("bench-1", bad == bad_units().end() ? "" : bad->second.fault);
  scan(serial_of(unit));
  ASSERT_NO_FATAL_FAILURE(expect_result(first, unit));
  expect_ready();
  if (bad != bad_units().end()) {
    EXPECT_THAT(driven().text(first + " .cause"), HasSubstr(bad->second.cause));
  }
}

void OperatorsDay::be_asked(int unit) {
  ASSERT_NO_FATAL_FAILURE(go_to_waiting(unit - 1));
  ASSERT_NO_FATAL_FAILURE(choose_job("Questions"));
  scan(serial_of(unit));
  ASSERT_TRUE(driven().comes(in_state(first, "asking")));
  EXPECT_EQ(driven().focused(), std::string("input#answer-") + first_tile);
  scan("none");
  ASSERT_NO_FATAL_FAILURE(expect_result(first, unit));
  expect_ready();
  ASSERT_NO_FATAL_FAILURE(go_to_waiting(unit));
  ASSERT_NO_FATAL_FAILURE(choose_job("Daily work"));
}

void OperatorsDay::stop(int unit) {
  ASSERT_NO_FATAL_FAILURE(go_to_waiting(unit - 1));
  ASSERT_NO_FATAL_FAILURE(choose_job("Without an end"));
  scan(serial_of(unit));
  ASSERT_TRUE(driven().comes_text(in_state(first, "running") + " .rpm .value", "2500"));
  driven().type(std::string(key::escape) + key::escape);
  ASSERT_NO_FATAL_FAILURE(expect_result(first, unit));
  expect_ready();
  ASSERT_NO_FATAL_FAILURE(go_to_waiting(unit));
  ASSERT_NO_FATAL_FAILURE(choose_job("Daily work"));
}

// At the other rig, while the first one's result stands.
void OperatorsDay::lose_the_board(int unit) {
#ifdef TACHPROOF_EMULATED_BOARD
  const std::string tile = std::string("#tile-") + board_tile;
  const PluggedBoard board(shop, "bench-1");
  go_to(tile);
  scan(serial_of(unit));
  ASSERT_TRUE(driven().comes_text(in_state(tile, "running") + " .rpm .value", "2500"));
  board.pull_out();
  ASSERT_NO_FATAL_FAILURE(expect_result(tile, unit));
  EXPECT_THAT(driven().text(tile), HasSubstr("has been unplugged"));
  ASSERT_NO_FATAL_FAILURE(expect_result(first, unit - 1));
  go_to(first);
#else
  // There is no board to pull out: a run that is stopped is undecided too.
  stop(unit);
#endif
}

void OperatorsDay::scan_a_wrong_number(int last) {
  scan("DAY-1");
  ASSERT_TRUE(driven().comes_text(first + " .trouble", "'DAY-1' is no serial number of this job"));
  expect_ready();
  EXPECT_THAT(driven().text(first + " .last"), StartsWith("Last: " + serial_of(last)));
}

// One that is in the wrong box.
void OperatorsDay::scan_one_that_has_passed(int last) {
  scan(serial_of(1));
  ASSERT_TRUE(driven().comes_text(first + " .again", serial_of(1) + " has passed on "));
  EXPECT_THAT(driven().text(first + " .last"), StartsWith("Last: " + serial_of(last)));
  driven().type(std::string(key::tab) + key::enter);  // "Another unit"
  ASSERT_TRUE(driven().comes(first + " .serial input"));
  expect_ready();
}

Held OperatorsDay::held(ServedShop& served) {
  Browser& browser = driven();
  browser.devtools("Performance.enable", nlohmann::json::object());
  browser.devtools("HeapProfiler.collectGarbage", nlohmann::json::object());
  std::map<std::string, double> values;
  const nlohmann::json told = browser.devtools("Performance.getMetrics", nlohmann::json::object());
  for (const nlohmann::json& one : told["metrics"]) values[one["name"]] = one["value"];
  Held held;
  held.nodes = static_cast<int>(values.at("Nodes"));
  held.listeners = static_cast<int>(values.at("JSEventListeners"));
  held.documents = static_cast<int>(values.at("Documents"));
  held.heap_mb = values.at("JSHeapUsedSize") / 1e6;
  held.streams = browser.run("return window.streams");
  const std::filesystem::path files = "/proc/" + std::to_string(served.program().pid()) + "/fd";
  for (const auto& file : std::filesystem::directory_iterator(files))
    held.open_files += file.exists() ? 1 : 0;
  return held;
}

void OperatorsDay::expect_no_more(const Held& early, const Held& late) {
  EXPECT_EQ(late.streams, 1);
  EXPECT_EQ(late.documents, early.documents);
  // Less than one for each of the units between.
  EXPECT_LE(late.nodes, early.nodes + 20);
  EXPECT_LE(late.listeners, early.listeners + 5);
  EXPECT_LE(late.heap_mb, early.heap_mb + 0.5);
  EXPECT_LE(late.open_files, early.open_files + 6);  // connections that a browser keeps in store
}

void OperatorsDay::expect_none_lost() const {
  std::vector<std::pair<std::string, std::string>> kept, wanted;
  for (const HistoryRun& run : History(shop.folder() / "history.db", History::Open::existing).runs({})) {
    kept.emplace_back(run.unit_serial, shouted(run.verdict));
    EXPECT_EQ(run.complete, run.verdict != Verdict::undecided) << run.unit_serial;
  }
  for (int unit = 1; unit <= units_a_day; ++unit) wanted.emplace_back(serial_of(unit), verdict_of_unit(unit));
  EXPECT_EQ(kept, wanted);
  EXPECT_THAT(shop.runs(), SizeIs(units_a_day));
}

TEST_F(OperatorsDay, FortyUnitsInOnePage) {
  ServedShop served(shop.folder(), "--history history.db");
  open(served);
  driven().run("window.morning = true");
  expect_ready();
  Held early;
  for (int unit = 1; unit <= units_a_day; ++unit) {
    SCOPED_TRACE(serial_of(unit));
    if (unit == asked_unit)
      be_asked(unit);
    else if (unit == stopped_unit)
      stop(unit);
    else if (unit == unplugged_unit)
      lose_the_board(unit);
    else
      work_on(unit);
    ASSERT_FALSE(HasFailure());
    if (unit == 5) early = held(served);
    if (unit == 15) scan_a_wrong_number(unit);
    if (unit == 16) scan_one_that_has_passed(unit);
  }
  expect_no_more(early, held(served));
  EXPECT_EQ(driven().run("return window.morning"), true) << "the page was loaded again";
  expect_none_lost();
  if (HasFailure()) return;
  driven().open(served.own_origin() + "/runs");
  const nlohmann::json listed = driven().run(R"(
    return [...document.querySelectorAll("table.runs tbody tr")].map((row) =>
      ["unit", "verdict"].map((of) => row.querySelector(`[data-of=${of}]`).firstElementChild.innerText));)");
  ASSERT_THAT(listed, SizeIs(units_a_day));
  for (int unit = 1; unit <= units_a_day; ++unit)  // the newest first
    EXPECT_EQ(listed[static_cast<std::size_t>(units_a_day - unit)],
              nlohmann::json::array({serial_of(unit), verdict_of_unit(unit)}));
  expect_no_complaints();
}

}  // namespace
}  // namespace tachproof

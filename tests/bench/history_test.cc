// The history, whatever it is kept in.
#include <chrono>
#include <cmath>
#include <nlohmann/json.hpp>
#include <random>
#include <thread>

#include "bench/history/drift_drawing.h"
#include "bench/history/history_report.h"
#include "bench/history/trends.h"
#include "bench/record/text.h"
#include "tests/bench/error_of.h"
#include "tests/bench/history_bench.h"
#include "tests/bench/history_integrity.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::Not;

// Every case is kept in a file and on a server.
class HistoryKept : public HistoryBench, public testing::WithParamInterface<const char*> {
 protected:
  void SetUp() override {
    if (!on_server()) return;
    NEEDS_A_SERVER();
    address_ = common_postgres_server()->new_database();
  }
  bool on_server() const { return std::string(GetParam()) == "server"; }
  HistoryPlace place() const { return on_server() ? HistoryPlace(address_) : HistoryPlace(file()); }
  void add(const std::filesystem::path& folder) { History(place(), History::Open::make).add(folder); }
  std::vector<HistoryRun> all(const HistoryFilter& filter = {}) {
    return History(place(), History::Open::existing).runs(filter);
  }
  // "ok", or what is wrong: a run is in with all its rows or not at all.
  std::string integrity() const {
    if (!on_server()) return file_integrity(file());
    const std::string halves = common_postgres_server()->sql(
        address_,
        "SELECT count(*) FROM tachproof.runs WHERE id NOT IN (SELECT run FROM tachproof.boundaries)");
    return halves == "0" ? "ok" : halves + " runs are not whole";
  }
  void remove_history() {
    if (on_server())
      common_postgres_server()->sql(address_, "DROP SCHEMA tachproof CASCADE");
    else
      std::filesystem::remove(file());
  }

 private:
  std::string address_;
};
INSTANTIATE_TEST_SUITE_P(Stores, HistoryKept, testing::Values("file", "server"),
                         [](const auto& kind) { return std::string(kind.param); });

TEST_P(HistoryKept, KeepsWhatARunWas) {
  const std::filesystem::path folder = run("K17", "2031-03-14T09:26:53+01:00", 0.8);
  EXPECT_TRUE(History(place(), History::Open::make).add(folder));
  ASSERT_EQ(all().size(), 1U);
  const HistoryRun r = all()[0];
  EXPECT_EQ(r.unit_serial, "K17");
  EXPECT_EQ(r.gauge, "Drumlin four-lamp gauge");
  EXPECT_EQ(r.scenario, "acceptance");
  EXPECT_EQ(r.folder, folder.string());
  EXPECT_EQ(r.verdict, Verdict::pass);
  EXPECT_TRUE(r.complete);
  EXPECT_EQ(r.duration_s, 3);
  EXPECT_EQ(r.tolerance_rpm, 3);
  EXPECT_EQ(r.started_s, 1'931'243'213);  // by Python's datetime
  EXPECT_THAT(r.report_id, testing::StartsWith("TP-20310314-"));
  ASSERT_EQ(r.boundaries.size(), 1U);
  EXPECT_EQ(r.boundaries[0].threshold_rpm, 3000.8);
  EXPECT_TRUE(std::isnan(r.boundaries[0].response_ms)) << "what was not measured stays so";
}

TEST_P(HistoryKept, HasARunOnceAndFindsItAgainWhereItWasMoved) {
  const std::filesystem::path folder = run("K17", "2031-03-14T09:26:53+01:00", 0.8);
  add(folder);
  const std::filesystem::path moved = temporary.path() / "moved";
  std::filesystem::rename(folder, moved);
  EXPECT_FALSE(History(place(), History::Open::existing).add(moved));
  ASSERT_EQ(all().size(), 1U);
  EXPECT_EQ(all()[0].folder, moved.string());
}

TEST_P(HistoryKept, IsAskedByUnitGaugeScenarioAndDate) {
  add(run("K17", "2031-03-14T23:30:00-05:00", 0));
  add(run("K18", "2031-03-15T01:00:00+01:00", 0));
  add(run("it's; DROP TABLE runs", "2031-04-01T09:00:00+01:00", 0));
  EXPECT_EQ(all({"K17", "", "", ""}).size(), 1U);
  EXPECT_EQ(all({"it's; DROP TABLE runs", "", "", ""}).size(), 1U);
  EXPECT_EQ(all({"", "Drumlin four-lamp gauge", "acceptance", ""}).size(), 3U);
  EXPECT_EQ(all({"", "another", "", ""}).size(), 0U);
  EXPECT_EQ(all({"", "", "", "2031-03-15"}).size(), 2U) << "by the bench's own calendar";
  EXPECT_EQ(all()[0].unit_serial, "K18") << "but in the order of true time";
}

const Cause anchor = cause("The unit acts as if anchor pit were 5150 rpm (set: 5210, U = 0.6 rpm)", 4, 4);
const Cause boundary = cause("The unit acts as if boundary <b> were at 5150 rpm (set: 5210)", 4, 4);

TEST_P(HistoryKept, KeepsTheCausesOfAFailedRun) {
  add(failed_run("K17", {anchor, boundary}));
  add(failed_run("K18", {cause("Lamp left is dark", 2, 3)}));
  add(run("K19", "2031-03-14T10:00:00+01:00", 0));
  const HistoryView view = view_of(all());
  ASSERT_EQ(view.runs[0].causes.size(), 2U);
  EXPECT_EQ(view.runs[0].causes[0].text, anchor.text);
  EXPECT_EQ(view.runs[0].causes[1].explains, 4U);
  EXPECT_TRUE(view.runs[2].causes.empty());

  const std::string text = history_text(view, 80);
  EXPECT_THAT(text, HasSubstr("\n  The unit acts as if anchor pit were 5150 rpm (set: 5210, U = 0.6 rpm)\n"
                              "  or: The unit acts as if boundary <b> were at 5150 rpm (set: 5210)\n"));
  EXPECT_THAT(text, HasSubstr("\n  Lamp left is dark (explains only 2 of 3 findings)\n"));
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(code_points(line), 80U) << line;
  const std::string page = history_html(view, "unit K17", "now");
  EXPECT_THAT(page,
              HasSubstr("<td>The unit acts as if anchor pit were 5150 rpm (set: 5210, U = 0.6 rpm)<br>"
                        "or: The unit acts as if boundary &lt;b&gt; were at 5150 rpm (set: 5210)</td>"));
  const nlohmann::json json = nlohmann::json::parse(history_json(view));
  EXPECT_EQ(json["runs"][0]["causes"][0]["text"], anchor.text);
  EXPECT_EQ(json["runs"][1]["causes"][0]["explains"], 2);
  EXPECT_EQ(json["runs"][1]["causes"][0]["of"], 3);
  EXPECT_EQ(json["runs"][2]["causes"], nlohmann::json::array());
}

TEST_P(HistoryKept, TakesNoFolderThatIsNoRun) {
  EXPECT_THAT(error_of([&] { add(temporary.path()); }), HasSubstr("is not a run folder"));
  EXPECT_EQ(all().size(), 0U);
}

TEST_P(HistoryKept, IsSoundAfterAWriterIsKilledAtAnyInstant) {
  std::vector<std::filesystem::path> folders;
  for (int i = 0; i < 12; ++i)
    folders.push_back(run("K" + std::to_string(i), "2031-03-14T09:26:53+01:00", 0.1 * i));
  add(folders[0]);
  unsigned killed = 0;
  const unsigned seeds = on_server() ? 10 : 60;  // a server takes its time
  for (unsigned seed = 0; seed < seeds; ++seed) {
    std::mt19937 random(seed);
    const std::chrono::microseconds wait(std::uniform_int_distribution<long>(0, 15'000)(random));
    const pid_t writer = child([&] {
      for (const auto& folder : folders) {
        // From the start again and again: a removed history is made anew.
        add(folder);
      }
    });
    std::this_thread::sleep_for(wait);
    ::kill(writer, SIGKILL);
    killed += WIFSIGNALED(status_of(writer));
    ASSERT_EQ(integrity(), "ok") << "seed " << seed;
    ASSERT_GE(all().size(), 1U);
    if (all().size() == folders.size()) remove_history();
    add(folders[0]);
  }
  EXPECT_GT(killed, seeds / 3) << "too few writers were killed half-way: the test has shown little";
}

TEST_P(HistoryKept, TakesWhatManyBenchesWriteAtOnce) {
  constexpr int benches = 4, each = 6;
  const std::vector<std::vector<std::filesystem::path>> folders = runs_of(benches, each);
  std::vector<pid_t> writers;
  for (int b = 0; b < benches; ++b)
    writers.push_back(child([&] {
      for (const auto& folder : folders[b]) add(folder);  // the file itself is made by whoever comes first
    }));
  for (const pid_t writer : writers) {
    const int status = status_of(writer);
    EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0);
  }
  EXPECT_EQ(integrity(), "ok");
  EXPECT_EQ(all().size(), static_cast<std::size_t>(benches * each));
  if (on_server()) return;
  EXPECT_EQ(std::distance(std::filesystem::directory_iterator(file().parent_path()), {}), 1)
      << "at rest the history is one file";
}

TEST_P(HistoryKept, TellsTheDriftOfAUnitAndTheSpreadOfUnits) {
  add(run("K17", "2031-01-10T09:00:00Z", 0.0));
  add(run("K17", "2031-02-10T09:00:00Z", 0.5));
  add(run("K17", "2031-03-10T09:00:00Z", 1.0));
  add(run("K18", "2031-02-11T09:00:00Z", -1.0));
  add(run("K19", "2031-02-12T09:00:00Z", 3.0));
  add(run("K20", "2031-02-13T09:00:00Z", 9.0, false));  // cut short: does not count
  add(run("", "2031-02-14T09:00:00Z", 9.0));            // of no unit
  const HistoryView view = view_of(all());
  ASSERT_EQ(view.drifts.size(), 3U);
  const Drift& k17 = view.drifts[0];
  EXPECT_EQ(k17.unit, "K17");
  ASSERT_EQ(k17.points.size(), 3U);
  EXPECT_NEAR(k17.change_rpm(), 1, 1e-9);
  EXPECT_NEAR(k17.change_uncertainty_rpm(), 0.6 * std::sqrt(2), 1e-9);
  ASSERT_EQ(view.spreads.size(), 1U);
  const Spread& spread = view.spreads[0];
  EXPECT_EQ(spread.capability.n, 3U);  // 1, -1 and 3 rpm: mean 1, s 2
  EXPECT_NEAR(spread.capability.mean, 1, 1e-9);
  EXPECT_NEAR(spread.capability.s, 2, 1e-9);
  EXPECT_NEAR(spread.capability.cpk, 1.0 / 3, 1e-9);  // (3 - 1) / (3 * 2)

  const std::string text = history_text(view, 80);
  EXPECT_THAT(text, HasSubstr("\nDrift, rpm from nominal: unit K17, Drumlin four-lamp gauge\n"));
  EXPECT_THAT(text,
              HasSubstr("brisk                    rising       3      0.00     +1.00     +1.00      0.85\n"));
  EXPECT_THAT(text, HasSubstr("brisk                rising       3   +1.00    2.00   +-3.0    0.33"));
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(code_points(line), 80U) << line;
}

TEST_P(HistoryKept, LeavesResultsThatCannotBeToldFromTheToleranceOutOfTheSpread) {
  Drift sure{"g", "K1", false, "b", Direction::rising, 3, {{0, 1.0, 0.5}}};
  Drift unsure{"g", "K2", false, "b", Direction::rising, 3, {{0, 50.0, 40}}};
  const std::vector<Spread> all = spreads({sure, unsure});
  ASSERT_EQ(all.size(), 1U);
  EXPECT_EQ(all[0].capability.n, 1U);
  EXPECT_EQ(all[0].left_out, 1U);
}

DriftPoint point(std::int64_t at_s, double deviation_rpm, const std::string& settings, bool decided = true) {
  return {at_s, deviation_rpm, 0.5, settings, decided};
}

TEST(Drifts, AreToldSinceTheSettingsChanged) {
  const Drift d{"g",
                "K1",
                false,
                "b",
                Direction::rising,
                3,
                {point(0, 2.5, "a"), point(1, 0.1, "b"), point(2, 0.2, "b")}};
  EXPECT_NEAR(d.change_rpm(), 0.1, 1e-12) << "2.5 rpm were those of other settings";
  EXPECT_TRUE(d.settings_changed());
  EXPECT_THAT(change_words(d), HasSubstr("3 runs; since the settings changed +0.10 rpm"));
  EXPECT_THAT(change_words(d), Not(HasSubstr("moved")));
  // A B A: the first A is another stretch.
  const Drift back{"g",
                   "K1",
                   false,
                   "b",
                   Direction::rising,
                   3,
                   {point(0, 2.5, "a"), point(1, 0.1, "b"), point(2, 0.2, "a")}};
  EXPECT_FALSE(back.has_change());
  EXPECT_THAT(history_text({{HistoryRun{}}, {d}, {}}, 80), HasSubstr("* the first one since the settings"));
}

std::size_t occurrences(const std::string& text, const std::string& what) {
  std::size_t n = 0;
  for (std::size_t at = text.find(what); at != text.npos; at = text.find(what, at + 1)) ++n;
  return n;
}

TEST(Drifts, DoNotDrawWhatIsUndecidedAsAMove) {
  const Drift d{
      "g",
      "K1",
      false,
      "b",
      Direction::rising,
      3,
      {point(0, 0.0, "a"), point(1, 2.9, "a", false), point(2, 0.1, "a"), point(3, 2.8, "a", false)}};
  EXPECT_NEAR(d.change_rpm(), 0.1, 1e-12);
  EXPECT_EQ(d.undecided(), 2U);
  EXPECT_THAT(change_words(d), HasSubstr("4 runs, 2 undecided; since the first +0.10 rpm"));
  const std::string drawn = drift_drawing(d);
  EXPECT_EQ(occurrences(drawn, "class=\"rpm\""), 1U);
  EXPECT_EQ(occurrences(drawn, "class=\"spread\""), 2U) << "hollow";
  EXPECT_EQ(occurrences(drawn, "class=\"point\""), 2U);
  const Drift none{"g", "K1", false, "b", Direction::rising, 3, {point(0, 2.9, "a", false)}};
  EXPECT_EQ(none.first(), nullptr);
  EXPECT_EQ(change_words(none), "one run, 1 undecided");
  EXPECT_THAT(drift_drawing(none), Not(HasSubstr("class=\"rpm\"")));
  const std::string text = history_text({{HistoryRun{}}, {d, none}, {}}, 80);
  EXPECT_THAT(text, HasSubstr("3 undecided values are counted in runs only."));
}

TEST_P(HistoryKept, IsDrawnOnOnePageThatFetchesAndRunsNothing) {
  const std::string evil = "<script>alert('1')</script>";
  add(run(evil, "2031-01-10T09:00:00Z", 0.0));
  add(run(evil, "2031-02-10T09:00:00Z", 1.5));
  add(run("K18", "2031-02-11T09:00:00Z", -1.0));
  const std::string page = history_html(view_of(all()), "unit " + evil, "2031-05-01T00:00:00Z");
  for (const char* no : {"<script", "<link", "<img", "src=", "http://", "https://"})
    EXPECT_THAT(page, Not(HasSubstr(no)));
  EXPECT_THAT(page, HasSubstr("2 runs; since the first +1.50 rpm, U = 0.85 rpm: <b>it has moved</b>"));
  EXPECT_THAT(page, HasSubstr(">2031-01-10</text>"));
  const nlohmann::json json = nlohmann::json::parse(history_json(view_of(all())));
  EXPECT_EQ(json["runs"].size(), 3U);
  EXPECT_EQ(json["spreads"][0]["units"], 2);
}

TEST_P(HistoryKept, SaysSimulatedOfEveryRunOfASimulatedUnit) {
  add(run("K17", "2031-01-10T09:00:00Z", 0.0, true, "simulated"));
  const HistoryView view = view_of(all(), true);
  EXPECT_TRUE(view.runs[0].simulated);
  const std::string text = history_text(view, 80);
  EXPECT_THAT(text, HasSubstr("  " + view.runs[0].report_id + "  SIMULATED  "));
  EXPECT_THAT(text, HasSubstr("\nDrift, rpm from nominal: SIMULATED unit K17, Drumlin four-lamp gauge\n"));
  EXPECT_THAT(text, HasSubstr("\nSpread of SIMULATED units' last results, rpm: Drumlin four-lamp gauge\n"));
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(code_points(line), 80U) << line;
  const std::string page = history_html(view, "", "now");
  EXPECT_THAT(page, HasSubstr("<b>SIMULATED</b> All these runs judged the built-in unit: they say nothing of "
                              "a real one."));
  EXPECT_THAT(page, HasSubstr("@top-center { content: \"SIMULATED"));  // printed
  EXPECT_THAT(page, HasSubstr("<td>pass <b>SIMULATED</b></td>"));
  EXPECT_THAT(page, HasSubstr("<h3>SIMULATED unit K17, Drumlin four-lamp gauge</h3>"));
  EXPECT_THAT(page, HasSubstr("<h3>Drumlin four-lamp gauge: SIMULATED units</h3>"));
  const nlohmann::json json = nlohmann::json::parse(history_json(view));
  for (const char* list : {"runs", "drifts", "spreads"}) EXPECT_EQ(json[list][0]["simulated"], true) << list;
}

// What the built-in unit does is no evidence of how real units drift or spread.
TEST_P(HistoryKept, KeepsSimulatedUnitsApartFromRealOnes) {
  add(run("K17", "2031-01-10T09:00:00Z", 0.0, true, "simulated"));
  add(run("K17", "2031-02-10T09:00:00Z", 1.0));
  add(run("K18", "2031-02-11T09:00:00Z", 2.0));
  const HistoryView view = view_of(all(), true);
  ASSERT_EQ(view.drifts.size(), 3U);
  for (const Drift& d : view.drifts) EXPECT_EQ(d.points.size(), 1U) << unit_title(d);
  ASSERT_EQ(view.spreads.size(), 2U);
  EXPECT_TRUE(view.spreads[0].simulated);
  EXPECT_EQ(view.spreads[0].capability.n, 1U);
  EXPECT_FALSE(view.spreads[1].simulated);
  EXPECT_EQ(view.spreads[1].capability.n, 2U);
  const std::string page = history_html(view, "", "now");
  EXPECT_THAT(page,
              HasSubstr("<b>SIMULATED</b> 1 of these 3 runs judged the built-in unit: it says nothing of "
                        "a real one."));
  EXPECT_THAT(page, Not(HasSubstr("@top-center"))) << "a printed page may speak of real units only";
  EXPECT_THAT(page, HasSubstr("<h3>Drumlin four-lamp gauge</h3>"));
  EXPECT_THAT(history_text(view, 80), HasSubstr("\nSpread of the units' last results, rpm: Drumlin"));
}

TEST_P(HistoryKept, LeavesSimulatedRunsOutOfDriftUnlessTheyAreAskedFor) {
  add(run("K17", "2031-01-10T09:00:00Z", 0.0, true, "simulated"));
  add(run("K17", "2031-02-10T09:00:00Z", 1.0));
  const HistoryView view = view_of(all());
  ASSERT_EQ(view.drifts.size(), 1U);
  EXPECT_FALSE(view.drifts[0].simulated);
  ASSERT_EQ(view.spreads.size(), 1U);
  EXPECT_FALSE(view.spreads[0].simulated);
  const std::string words = "1 simulated run is left out of drift and spread; --simulated shows it.";
  EXPECT_THAT(history_text(view, 80), HasSubstr("\n" + words + "\n"));
  EXPECT_THAT(history_html(view, "", "now"), HasSubstr("<p>" + words + "</p>"));
  EXPECT_EQ(nlohmann::json::parse(history_json(view))["simulated_left_out"], 1);
  EXPECT_THAT(history_text(view_of(all(), true), 80), Not(HasSubstr("left out")));
}

TEST_P(HistoryKept, TellsAcceptancesInTheOrderInWhichTheyWereGiven) {
  const std::filesystem::path early = run("K17", "2031-01-10T09:00:00Z", 0.0);
  const std::filesystem::path late = run("K18", "2031-02-10T09:00:00Z", 0.0);
  History history(place(), History::Open::make);
  history.accept(late, {"2031-03-01T09:00:00Z", "Una", "first"});
  history.accept(early, {"2031-03-02T09:00:00Z", "Per", "second"});
  history.accept(late, {"2031-01-01T09:00:00Z", "Una", "by a clock that was wrong"});
  EXPECT_EQ(history.reference("K18")->acceptance.why, "by a clock that was wrong") << "the last one counts";
  const HistoryView view = view_of(all());
  const std::string text = history_text(view, 80), page = history_html(view, "", "now");
  for (const std::string& all_of_it : {text, page}) {
    const std::size_t first = all_of_it.find("by Una on 2031-03-01T09:00: first");
    const std::size_t second = all_of_it.find("by Per on 2031-03-02T09:00: second");
    const std::size_t third = all_of_it.find("by Una on 2031-01-01T09:00: by a");
    EXPECT_LT(first, second);
    EXPECT_LT(second, third);
    EXPECT_NE(third, std::string::npos);
  }
  const nlohmann::json json = nlohmann::json::parse(history_json(view))["accepted"];
  ASSERT_EQ(json.size(), 3U);
  EXPECT_EQ(json[0]["unit"], "K18");
  EXPECT_EQ(json[1]["why"], "second");
}

TEST_P(HistoryKept, OfRealUnitsDoesNotSaySimulated) {
  add(run("K17", "2031-01-10T09:00:00Z", 0.0));
  const HistoryView view = view_of(all());
  EXPECT_THAT(history_html(view, "", "now"), Not(HasSubstr("SIMULATED")));
  EXPECT_THAT(history_text(view, 80), Not(HasSubstr("SIMULATED")));
}

TEST_P(HistoryKept, StandsAViewOfNothing) {
  EXPECT_EQ(history_text(view_of({}), 80), "No run in the history matches.\n");
  EXPECT_THAT(history_html(view_of({}), "", "now"), HasSubstr("0 runs"));
}

}  // namespace
}  // namespace tachproof

#include "bench/history/history.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sqlite3.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cmath>
#include <nlohmann/json.hpp>
#include <random>
#include <thread>

#include "bench/history/history_report.h"
#include "bench/history/trends.h"
#include "bench/record/text.h"
#include "bench/reports/run_report.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"
#include "tests/bench/error_of.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::Not;

class HistoryFile : public testing::Test {
 protected:
  std::filesystem::path file() const { return temporary.path() / "deep" / "history.db"; }

  // A finished run folder of one unit whose threshold is `off_rpm` from nominal.
  std::filesystem::path run(const std::string& unit, const std::string& started, double off_rpm,
                            bool complete = true, const std::string& watch = "board") {
    const std::filesystem::path folder = temporary.path() / ("run-" + std::to_string(++runs));
    drumlin::Run run = drumlin::small();
    run.record.inputs.clear();
    run.record.unit_serial = unit;
    run.record.watch = watch;
    run.record.started = started;
    run.record.result.complete = complete;
    BoundaryResult b;
    b.boundary = "brisk";
    b.nominal_rpm = 3000;
    b.threshold_rpm = 3000 + off_rpm;
    b.expanded_uncertainty_rpm = 0.6;
    b.verdict = Verdict::pass;
    run.record.result.boundaries = {b};
    RunFolder::create(folder, run.record, run_pages).finish(run.record, run.trace);
    return folder;
  }
  // A run that failed, and what explains it.
  std::filesystem::path failed_run(const std::string& unit, const std::vector<Cause>& causes) {
    const std::filesystem::path folder = temporary.path() / ("run-" + std::to_string(++runs));
    drumlin::Run run = drumlin::small();
    run.record.inputs.clear();
    run.record.unit_serial = unit;
    run.record.started = "2031-03-14T09:26:53+01:00";
    run.record.result.verdict = Verdict::fail;
    run.record.causes.list = causes;
    BoundaryResult b;
    b.boundary = "brisk";
    run.record.result.boundaries = {b};
    RunFolder::create(folder, run.record, run_pages).finish(run.record, run.trace);
    return folder;
  }
  // As a program of the first format left it: without causes.
  void as_of_format_1() const {
    sqlite3* db = nullptr;
    sqlite3_open(file().c_str(), &db);
    sqlite3_exec(db, "DROP TABLE causes; PRAGMA user_version = 1", nullptr, nullptr, nullptr);
    sqlite3_close(db);
  }
  void add(const std::filesystem::path& folder) { History(file(), History::Open::make).add(folder); }
  std::vector<HistoryRun> all(const HistoryFilter& filter = {}) {
    return History(file(), History::Open::existing).runs(filter);
  }

  TemporaryFolder temporary;
  int runs = 0;
};

TEST_F(HistoryFile, KeepsWhatARunWas) {
  const std::filesystem::path folder = run("K17", "2031-03-14T09:26:53+01:00", 0.8);
  EXPECT_TRUE(History(file(), History::Open::make).add(folder));
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

TEST_F(HistoryFile, HasARunOnceAndFindsItAgainWhereItWasMoved) {
  const std::filesystem::path folder = run("K17", "2031-03-14T09:26:53+01:00", 0.8);
  add(folder);
  const std::filesystem::path moved = temporary.path() / "moved";
  std::filesystem::rename(folder, moved);
  EXPECT_FALSE(History(file(), History::Open::existing).add(moved));
  ASSERT_EQ(all().size(), 1U);
  EXPECT_EQ(all()[0].folder, moved.string());
}

TEST_F(HistoryFile, IsAskedByUnitGaugeScenarioAndDate) {
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

TEST_F(HistoryFile, RefusesFilesThatAreNoHistory) {
  EXPECT_EQ(error_of([&] { History(file(), History::Open::existing); }),
            "there is no history at " + file().string() + " yet");
  std::filesystem::create_directories(file().parent_path());
  write_file(file(), std::string(4096, 'x'));
  EXPECT_EQ(error_of([&] { History(file(), History::Open::make); }),
            "the history " + file().string() + ": file is not a database");
  std::filesystem::remove(file());
  sqlite3* other = nullptr;
  sqlite3_open(file().c_str(), &other);
  sqlite3_exec(other, "CREATE TABLE songs (title TEXT)", nullptr, nullptr, nullptr);
  sqlite3_close(other);
  EXPECT_EQ(error_of([&] { History(file(), History::Open::make); }),
            file().string() + " is not a history of Tachproof: name another file with --history");
  sqlite3_open(file().c_str(), &other);
  sqlite3_exec(other, "PRAGMA application_id = 1414547505; PRAGMA user_version = 9", nullptr, nullptr,
               nullptr);
  sqlite3_close(other);
  EXPECT_EQ(error_of([&] { History(file(), History::Open::make); }),
            "the history " + file().string() + " has format 9, and this program knows format 2");
}

std::string integrity(const std::filesystem::path& file) {
  sqlite3* db = nullptr;
  std::string answer;
  sqlite3_open(file.c_str(), &db);
  sqlite3_busy_timeout(db, 10'000);
  const auto keep = [](void* into, int, char** values, char**) {
    *static_cast<std::string*>(into) += values[0] == nullptr ? "null" : values[0];
    return 0;
  };
  sqlite3_exec(db, "PRAGMA integrity_check; PRAGMA foreign_key_check", keep, &answer, nullptr);
  // A run is in with all its rows or not at all.
  sqlite3_exec(db, "SELECT ', incomplete' FROM runs WHERE id NOT IN (SELECT run FROM boundaries)", keep,
               &answer, nullptr);
  sqlite3_close(db);
  return answer;
}

// The child ends by itself when it has added all; else it is killed.
template <class Work>
pid_t child(Work work) {
  const pid_t pid = ::fork();
  if (pid == 0) {
    try {
      work();
    } catch (...) {
      ::_exit(1);
    }
    ::_exit(0);
  }
  return pid;
}

int status_of(pid_t pid) {
  int status = 0;
  ::waitpid(pid, &status, 0);
  return status;
}

Cause cause(const std::string& text, std::uint64_t explains, std::uint64_t of) {
  Cause one;
  one.text = text;
  one.explains = explains;
  one.of = of;
  one.todo = "Write the settings to the unit again.";
  return one;
}

const Cause anchor = cause("The unit acts as if anchor pit were 5150 rpm (set: 5210, U = 0.6 rpm)", 4, 4);
const Cause boundary = cause("The unit acts as if boundary <b> were at 5150 rpm (set: 5210)", 4, 4);

TEST_F(HistoryFile, KeepsTheCausesOfAFailedRun) {
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

TEST_F(HistoryFile, OfTheFirstFormatIsRenewedAndLosesNothing) {
  const std::filesystem::path bad = failed_run("K17", {anchor});
  add(bad);
  History(file(), History::Open::existing).accept(run("K18", "2031-03-14T10:00:00Z", 0.8), {"t", "Una", "x"});
  const std::string before = history_text(view_of(all()), 80);
  as_of_format_1();
  const std::vector<HistoryRun> renewed = all();
  EXPECT_EQ(integrity(file()), "ok");
  ASSERT_EQ(renewed.size(), 2U);
  EXPECT_TRUE(renewed[0].causes.empty()) << "what an older program left out is not made up";
  EXPECT_EQ(renewed[1].boundaries[0].threshold_rpm, 3000.8);
  ASSERT_EQ(renewed[1].accepted.size(), 1U);
  EXPECT_EQ(renewed[1].accepted[0].who, "Una");
  // Its folder still says what the causes are.
  EXPECT_FALSE(History(file(), History::Open::existing).add(bad));
  EXPECT_FALSE(History(file(), History::Open::existing).add(bad));
  EXPECT_EQ(history_text(view_of(all()), 80), before);
}

TEST_F(HistoryFile, OfTheFirstFormatIsRenewedByManyAtOnce) {
  add(run("K17", "2031-03-14T10:00:00Z", 0.8));
  as_of_format_1();
  std::vector<pid_t> readers;
  for (int i = 0; i < 6; ++i)
    readers.push_back(child([&] {
      if (all().size() != 1) throw std::runtime_error("a run is gone");
    }));
  for (const pid_t reader : readers) EXPECT_EQ(status_of(reader), 0);
  EXPECT_EQ(integrity(file()), "ok");
}

TEST_F(HistoryFile, TakesNoFolderThatIsNoRun) {
  EXPECT_THAT(error_of([&] { add(temporary.path()); }), HasSubstr("is not a run folder"));
  EXPECT_EQ(all().size(), 0U);
}

TEST_F(HistoryFile, IsSoundAfterAWriterIsKilledAtAnyInstant) {
  std::vector<std::filesystem::path> folders;
  for (int i = 0; i < 12; ++i)
    folders.push_back(run("K" + std::to_string(i), "2031-03-14T09:26:53+01:00", 0.1 * i));
  add(folders[0]);
  int killed = 0;
  for (unsigned seed = 0; seed < 60; ++seed) {
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
    ASSERT_EQ(integrity(file()), "ok") << "seed " << seed;
    ASSERT_GE(all().size(), 1U);
    if (all().size() == folders.size()) std::filesystem::remove(file());
    add(folders[0]);
  }
  EXPECT_GT(killed, 20) << "too few writers were killed half-way: the test has shown little";
}

TEST_F(HistoryFile, TakesWhatManyBenchesWriteAtOnce) {
  constexpr int benches = 4, each = 6;
  std::vector<std::vector<std::filesystem::path>> folders(benches);
  for (int b = 0; b < benches; ++b)
    for (int i = 0; i < each; ++i)
      folders[b].push_back(
          run("K" + std::to_string(b), "2031-03-14T09:26:" + std::to_string(10 + i) + "Z", i));
  std::vector<pid_t> writers;
  for (int b = 0; b < benches; ++b)
    writers.push_back(child([&] {
      for (const auto& folder : folders[b]) add(folder);  // the file itself is made by whoever comes first
    }));
  for (const pid_t writer : writers) {
    const int status = status_of(writer);
    EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0);
  }
  EXPECT_EQ(integrity(file()), "ok");
  EXPECT_EQ(all().size(), static_cast<std::size_t>(benches * each));
  EXPECT_EQ(std::distance(std::filesystem::directory_iterator(file().parent_path()), {}), 1)
      << "at rest the history is one file";
}

TEST_F(HistoryFile, TellsTheDriftOfAUnitAndTheSpreadOfUnits) {
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

TEST_F(HistoryFile, LeavesResultsThatCannotBeToldFromTheToleranceOutOfTheSpread) {
  Drift sure{"g", "K1", false, "b", Direction::rising, 3, {{0, 1.0, 0.5}}};
  Drift unsure{"g", "K2", false, "b", Direction::rising, 3, {{0, 50.0, 40}}};
  const std::vector<Spread> all = spreads({sure, unsure});
  ASSERT_EQ(all.size(), 1U);
  EXPECT_EQ(all[0].capability.n, 1U);
  EXPECT_EQ(all[0].left_out, 1U);
}

TEST_F(HistoryFile, IsDrawnOnOnePageThatFetchesAndRunsNothing) {
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

TEST_F(HistoryFile, SaysSimulatedOfEveryRunOfASimulatedUnit) {
  add(run("K17", "2031-01-10T09:00:00Z", 0.0, true, "simulated"));
  const HistoryView view = view_of(all());
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
TEST_F(HistoryFile, KeepsSimulatedUnitsApartFromRealOnes) {
  add(run("K17", "2031-01-10T09:00:00Z", 0.0, true, "simulated"));
  add(run("K17", "2031-02-10T09:00:00Z", 1.0));
  add(run("K18", "2031-02-11T09:00:00Z", 2.0));
  const HistoryView view = view_of(all());
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

TEST_F(HistoryFile, OfRealUnitsDoesNotSaySimulated) {
  add(run("K17", "2031-01-10T09:00:00Z", 0.0));
  const HistoryView view = view_of(all());
  EXPECT_THAT(history_html(view, "", "now"), Not(HasSubstr("SIMULATED")));
  EXPECT_THAT(history_text(view, 80), Not(HasSubstr("SIMULATED")));
}

TEST_F(HistoryFile, StandsAViewOfNothing) {
  EXPECT_EQ(history_text(view_of({}), 80), "No run in the history matches.\n");
  EXPECT_THAT(history_html(view_of({}), "", "now"), HasSubstr("0 runs"));
}

}  // namespace
}  // namespace tachproof

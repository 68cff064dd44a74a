// What only a history in a file can be: of an older format, or no history at all. And runs that are added
// as they are finished.
#include <sqlite3.h>

#include "bench/history/history_report.h"
#include "tests/bench/error_of.h"
#include "tests/bench/history_bench.h"
#include "tests/bench/history_integrity.h"

namespace tachproof {
namespace {

class HistoryFile : public HistoryBench {
 protected:
  // As a program of the first format left it: without causes.
  void as_of_format_1() const {
    sqlite3* db = nullptr;
    sqlite3_open(file().c_str(), &db);
    sqlite3_exec(db, "DROP TABLE causes; PRAGMA user_version = 1", nullptr, nullptr, nullptr);
    sqlite3_close(db);
  }
  void add(const std::filesystem::path& folder) { History(file(), History::Open::make).add(folder); }
  std::vector<HistoryRun> all() { return History(file(), History::Open::existing).runs({}); }
};

const Cause renewed_cause =
    cause("The unit acts as if anchor pit were 5150 rpm (set: 5210, U = 0.6 rpm)", 4, 4);

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

TEST_F(HistoryFile, SaysTheSameOfARunJustFinishedAsOfItsFolder) {
  for (const bool complete : {true, false}) {
    const std::filesystem::path place = temporary.path() / (complete ? "whole" : "cut");
    drumlin::Run run = drumlin::small();
    ASSERT_FALSE(run.record.result.transitions.empty());
    run.record.inputs.clear();
    run.record.unit_serial = "K17 \xff";
    run.record.watch = "board";
    run.record.result.complete = complete;
    run.record.causes.list = {renewed_cause};
    RunFolder folder = RunFolder::create(place / "run", run.record, run_pages);
    EXPECT_THROW(folder.finished(), std::logic_error);
    folder.finish(run.record, run.trace);
    History by_folder(place / "a.db", History::Open::make), as_finished(place / "b.db", History::Open::make);
    by_folder.add(folder.path());
    EXPECT_TRUE(as_finished.add(folder));
    EXPECT_FALSE(as_finished.add(folder.path())) << "it is in";
    EXPECT_EQ(history_json(view_of(as_finished.runs({}))), history_json(view_of(by_folder.runs({}))));
  }
}

TEST_F(HistoryFile, OfTheFirstFormatIsRenewedAndLosesNothing) {
  const std::filesystem::path bad = failed_run("K17", {renewed_cause});
  add(bad);
  History(file(), History::Open::existing).accept(run("K18", "2031-03-14T10:00:00Z", 0.8), {"t", "Una", "x"});
  const std::string before = history_text(view_of(all()), 80);
  as_of_format_1();
  const std::vector<HistoryRun> renewed = all();
  EXPECT_EQ(file_integrity(file()), "ok");
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
  EXPECT_EQ(file_integrity(file()), "ok");
}

}  // namespace
}  // namespace tachproof

// What only a history on a server can be: newer, half-way, asked in SQL, written by who may not change it.
#include <fstream>
#include <nlohmann/json.hpp>
#include <random>
#include <set>
#include <sstream>
#include <thread>

#include "bench/history/postgres_schema.h"
#include "bench/history/run_list.h"
#include "bench/history/run_queue.h"
#include "tests/bench/error_of.h"
#include "tests/bench/history_bench.h"
#include "tests/bench/sql_of_page.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

class HistoryServer : public HistoryBench {
 protected:
  void SetUp() override {
    NEEDS_A_SERVER();
    address_ = server().new_database();
  }
  static PostgresServer& server() { return *common_postgres_server(); }
  std::string sql(const std::string& statements) { return server().sql(address_, statements); }
  History history(History::Open how = History::Open::make) { return {HistoryPlace(address_), how}; }
  // The same database for another user, who is made a member of a group.
  std::string address_of(const std::string& user, const std::string& group) {
    sql(roles_of_page());
    sql("DO $$ BEGIN IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '" + user + "') THEN CREATE ROLE " +
        user + " LOGIN IN ROLE " + group + "; END IF; END $$");
    std::string address = address_;
    const std::string owner = "user=postgres";
    return address.replace(address.find(owner), owner.size(), "user=" + user);
  }

  std::string address_;
};

TEST_F(HistoryServer, KeepsTheRecordOfARunAsItIs) {
  const std::filesystem::path folder = failed_run("K17", {cause("Lamp left is dark", 2, 3)});
  EXPECT_TRUE(history().add(folder));
  const auto record = nlohmann::json::parse(sql("SELECT result FROM tachproof.runs"));
  EXPECT_EQ(record, nlohmann::json::parse(read_file(folder / "result.json")));
  EXPECT_EQ(sql("SELECT added_by, added IS NOT NULL FROM tachproof.runs"), "postgres|t");
}

TEST_F(HistoryServer, ShowsWhatItsTextCannotHold) {
  using namespace std::string_literals;
  EXPECT_TRUE(history().add(run("zero\0one"s, "2031-03-14T09:26:53Z", 0)));
  EXPECT_TRUE(history().add(run("\\u0000", "2031-03-14T10:26:53Z", 0)));
  const std::vector<HistoryRun> all = history().runs({});
  ASSERT_EQ(all.size(), 2U);
  EXPECT_EQ(all[0].unit_serial, "zero\\x00one");
  EXPECT_EQ(all[1].unit_serial, "\\u0000") << "six harmless characters";
  EXPECT_EQ(sql("SELECT result #>> '{unit,serial}' FROM tachproof.runs ORDER BY id"),
            "zero\\x00one\n\\u0000");
}

TEST_F(HistoryServer, IsMadeAndRenewedOnceByManyAtOnce) {
  const std::filesystem::path folder = run("K17", "2031-03-14T10:00:00Z", 0.8);
  const auto all_at_once = [&] {
    std::vector<pid_t> programs;
    for (int i = 0; i < 6; ++i) programs.push_back(child([&] { history().must_be_there(); }));
    for (const pid_t program : programs) EXPECT_EQ(status_of(program), 0);
  };
  all_at_once();
  EXPECT_EQ(sql("SELECT format FROM tachproof.steps ORDER BY 1"), "1\n2");

  // As a program of format 1 left it, with a run in it.
  sql("DROP SCHEMA tachproof CASCADE");
  sql(std::string(postgres_steps()[0]) + "; INSERT INTO tachproof.steps (format) VALUES (1)");
  sql("INSERT INTO tachproof.runs (result_sha256, report_id, folder, started, started_s, unit_serial, gauge, "
      "gauge_sha256, scenario, scenario_sha256, source, watch, tested_by, tool_version, verdict, complete, "
      "duration_s) VALUES (repeat('a', 64), 'TP-1', '/old', '2031-01-01T00:00:00Z', 1924992000, 'K16', 'g', "
      "'', 's', '', 'board', 'board', '', '0', 'pass', true, 3)");
  all_at_once();
  EXPECT_EQ(sql("SELECT format FROM tachproof.steps ORDER BY 1"), "1\n2");
  EXPECT_TRUE(history().add(folder));
  const std::vector<HistoryRun> runs = history().runs({});
  ASSERT_EQ(runs.size(), 2U);
  EXPECT_EQ(runs[0].unit_serial, "K16") << "what was there stays";
  EXPECT_EQ(sql("SELECT added_by IS NULL, added IS NULL FROM tachproof.runs WHERE unit_serial = 'K16'"),
            "t|t")
      << "what nobody knows is not made up";
}

TEST_F(HistoryServer, OfANewerProgramIsAClearError) {
  history().must_be_there();
  sql("INSERT INTO tachproof.steps (format) VALUES (99)");
  const std::string place = HistoryPlace(address_).shown();
  const std::string error =
      "the history " + place + " has format 99, and this program knows format 2: use a newer program";
  EXPECT_EQ(error_of([&] { history(History::Open::existing); }), error);
  EXPECT_EQ(error_of([&] { RunList{HistoryPlace(address_)}; }), error);
  History waiting = history();
  EXPECT_TRUE(waiting.add(run("K17", "2031-03-14T10:00:00Z", 0.8)));
  EXPECT_TRUE(waiting.waits()) << "a run is not lost to a program that is too old";
  EXPECT_THAT(waiting.warning(),
              StartsWith("1 run waits in " + queue().string() + " for the history " + place));
  EXPECT_THAT(waiting.warning(), HasSubstr(error));
  sql("DELETE FROM tachproof.steps WHERE format = 99");
  EXPECT_EQ(history().warning(), "");
  EXPECT_EQ(history().runs({}).size(), 1U);
}

TEST_F(HistoryServer, ThatIsNotThereYetIsAnError) {
  const std::string none = "there is no history at " + HistoryPlace(address_).shown() + " yet";
  EXPECT_EQ(error_of([&] { history(History::Open::existing); }), none);
  EXPECT_EQ(error_of([&] { RunList{HistoryPlace(address_)}; }), none);
  EXPECT_EQ(sql("SELECT count(*) FROM pg_namespace WHERE nspname = 'tachproof'"), "0") << "asking makes none";
}

// Each bench writes down every order of acceptances that it sees; all are beginnings of the one at the end.
TEST_F(HistoryServer, TakesAllOfTenBenchesInOneOrderOfAcceptances) {
  constexpr int benches = 10, each = 4;
  const std::vector<std::vector<std::filesystem::path>> folders = runs_of(benches, each);
  std::vector<pid_t> writers;
  for (int b = 0; b < benches; ++b)
    writers.push_back(child([&] {
      const PgConnection eye(HistoryPlace(address_), 15);
      std::ofstream seen(temporary.path() / ("seen-" + std::to_string(b)));
      for (const auto& folder : folders[b]) {
        history().accept(folder, {"2031-03-15T10:00:00Z", "bench " + std::to_string(b), folder.string()});
        for (int look = 0; look < 3; ++look) {
          for (const std::string& one : eye.texts("SELECT why FROM tachproof.accepted ORDER BY id"))
            seen << one << ' ';
          seen << '\n';
        }
      }
    }));
  for (const pid_t writer : writers) EXPECT_EQ(status_of(writer), 0);
  EXPECT_EQ(history().runs({}).size(), static_cast<std::size_t>(benches * each));
  EXPECT_EQ(sql("SELECT count(*) FROM tachproof.boundaries"), std::to_string(benches * each));
  std::string order;
  std::istringstream last(sql("SELECT why FROM tachproof.accepted ORDER BY id"));
  for (std::string one; last >> one;) order += one + ' ';
  int looks = 0;
  for (int b = 0; b < benches; ++b) {
    std::ifstream seen(temporary.path() / ("seen-" + std::to_string(b)));
    for (std::string line; std::getline(seen, line); ++looks) EXPECT_TRUE(order.starts_with(line)) << line;
  }
  EXPECT_EQ(looks, benches * each * 3);
  EXPECT_EQ(sql("SELECT count(*) FROM tachproof.accepted"), std::to_string(benches * each));
}

// ---- who may do what ----------------------------------------------------------------

TEST_F(HistoryServer, ABenchMayAddAndReadAndChangeNothing) {
  history().must_be_there();
  const std::string bench = address_of("bench_7", "tachproof_bench");
  const std::filesystem::path folder = failed_run("K17", {cause("Lamp left is dark", 2, 3)});
  History of_bench(HistoryPlace(bench), History::Open::make);
  EXPECT_TRUE(of_bench.add(folder));
  EXPECT_FALSE(of_bench.waits());
  of_bench.accept(folder, {"2031-03-15T10:00:00Z", "Una", "first"});
  const std::filesystem::path moved = temporary.path() / "moved";
  std::filesystem::rename(folder, moved);
  EXPECT_FALSE(of_bench.add(moved)) << "it is in";
  ASSERT_EQ(of_bench.runs({}).size(), 1U);
  EXPECT_EQ(of_bench.runs({})[0].folder, moved.string());
  EXPECT_EQ(RunList(HistoryPlace(bench)).count(RunListFilter{}), 1U);

  const auto refused = [&](const std::string& statement) {
    return error_of([&] { server().sql(bench, statement); });
  };
  for (const char* table : {"runs", "boundaries", "causes", "accepted", "moved", "steps"}) {
    const std::string name = std::string("tachproof.") + table,
                      why = "permission denied for table " + std::string(table);
    EXPECT_THAT(refused("DELETE FROM " + name), HasSubstr(why));
    EXPECT_THAT(refused("TRUNCATE " + name), HasSubstr(why));
    EXPECT_THAT(refused("ALTER TABLE " + name + " ADD COLUMN x int"), HasSubstr("must be owner"));
    EXPECT_THAT(refused("DROP TABLE " + name + " CASCADE"), HasSubstr("must be owner"));
  }
  for (const char* change : {"runs SET verdict = 'pass'", "runs SET folder = '/'", "runs SET result = NULL",
                             "boundaries SET verdict = 'pass'", "causes SET text = ''",
                             "accepted SET who = 'Per'", "moved SET folder = '/'", "steps SET format = 99"})
    EXPECT_THAT(refused("UPDATE tachproof." + std::string(change)), HasSubstr("permission denied for table"))
        << change;
  // Nothing is put on a run that is in, in its own order, or in another user's name.
  EXPECT_THAT(refused("INSERT INTO tachproof.boundaries SELECT id, 9, 'b', 'rising', 1, 1, 1, 1, 'pass' FROM "
                      "tachproof.runs"),
              HasSubstr("is in already, and gets no more rows"));
  EXPECT_THAT(refused("INSERT INTO tachproof.causes SELECT id, 9, 't', 1, 1 FROM tachproof.runs"),
              HasSubstr("is in already, and gets no more rows"));
  for (const char* column : {"id", "given_by", "given"})
    EXPECT_THAT(refused("INSERT INTO tachproof.accepted (run, at, who, why, " + std::string(column) +
                        ") OVERRIDING SYSTEM VALUE SELECT id, '', 'Per', '', " +
                        (std::string(column) == "id"      ? "1"
                         : std::string(column) == "given" ? "now()"
                                                          : "'per'") +
                        " FROM tachproof.runs"),
                HasSubstr("permission denied for table accepted"))
        << column;
  EXPECT_EQ(sql("SELECT r.verdict, r.added_by, a.given_by FROM tachproof.runs r JOIN tachproof.accepted a ON "
                "a.run = r.id"),
            "fail|bench_7|bench_7");
}

TEST_F(HistoryServer, AReaderOnlyReadsAndItsRunsWait) {
  const std::filesystem::path folder = run("K17", "2031-03-14T10:00:00Z", 0.8);
  history().add(folder);
  const HistoryPlace reader(address_of("grafana", "tachproof_reader"));
  EXPECT_EQ(History(reader, History::Open::existing).runs({}).size(), 1U);
  EXPECT_EQ(RunList(reader).gauges().size(), 1U);
  History adding(reader, History::Open::make);
  adding.add(run("K18", "2031-03-14T11:00:00Z", 0.8));
  EXPECT_TRUE(adding.waits());
  EXPECT_THAT(adding.warning(), HasSubstr("permission denied for table runs"));
  EXPECT_THAT(error_of([&] {
                adding.accept(folder, {"t", "Una", "x"});
              }),
              HasSubstr("permission denied for table"));
  EXPECT_EQ(history().runs({}).size(), 1U);
}

TEST_F(HistoryServer, OfAnOlderFormatTellsWhoMayNotRenewItWhoMay) {
  sql(std::string(postgres_steps()[0]) + "; INSERT INTO tachproof.steps (format) VALUES (1)");
  sql("DO $$ BEGIN IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'old_reader') THEN CREATE ROLE "
      "old_reader LOGIN; END IF; END $$; GRANT USAGE ON SCHEMA tachproof TO old_reader; "
      "GRANT SELECT ON ALL TABLES IN SCHEMA tachproof TO old_reader");
  std::string address = address_;
  const HistoryPlace reader(address.replace(address.find("user=postgres"), 13, "user=old_reader"));
  EXPECT_THAT(
      error_of([&] { History(reader, History::Open::existing); }),
      HasSubstr("let the owner of the database run 'tachproof history --prepare', which leads it from "
                "format 1 to format 2"));
  EXPECT_EQ(RunList(reader).count(RunListFilter{}), 0U) << "what lists need is in every format";
}

// ---- the page -----------------------------------------------------------------------

TEST_F(HistoryServer, EveryQueryOfThePageRuns) {
  const auto add_real = [&](const std::string& unit, int day, double off_rpm) {
    return run(unit, "2031-03-" + std::to_string(day) + "T10:00:00Z", off_rpm);
  };
  History writing = history();
  const std::filesystem::path accepted = add_real("DR-0117", 10, 0.2);
  writing.accept(accepted, {"2031-03-15T10:00:00Z", "Una", "first"});
  for (int i = 1; i < 4; ++i) writing.add(add_real("DR-0117", 10 + i, 0.1 * i));
  writing.add(add_real("DR-0118", 20, -0.5));
  writing.add(failed_run("DR-0119", {cause("Lamp left is dark", 2, 3)}));
  const std::string reader = address_of("grafana", "tachproof_reader");
  const std::vector<std::string> queries = queries_of_page();
  EXPECT_GE(queries.size(), 12U);
  int with_rows = 0;
  for (const std::string& query : queries) {
    SCOPED_TRACE(query);
    std::string rows;
    EXPECT_NO_THROW(rows = server().sql(reader, query));
    with_rows += !rows.empty();
  }
  EXPECT_GE(with_rows, static_cast<int>(queries.size()) - 3) << "three ask for what these runs do not have";
  EXPECT_EQ(server().sql(reader, queries[1]).substr(0, 8), "DR-0119|") << "the one whose last run failed";
}

// ---- lists --------------------------------------------------------------------------

std::string told(const ListedRun& r) {
  std::ostringstream out;
  out << r.folder << '|' << r.started << '|' << r.unit << '|' << r.gauge << '|' << r.scenario << '|'
      << word(r.verdict) << r.simulated << '|' << r.cause << '|' << r.more_causes << '\n';
  return out.str();
}

std::string told(const HistoryRun& r) {
  std::ostringstream out;
  out << r.started_s << '|' << r.unit_serial << '|' << r.gauge << '|' << r.tolerance_rpm << r.simulated;
  for (const HistoryBoundary& b : r.boundaries)
    out << '|' << b.boundary << word(b.direction) << b.nominal_rpm << ',' << b.threshold_rpm << ','
        << b.expanded_uncertainty_rpm << word(b.verdict);
  return out.str() + '\n';
}

// All that a list can be asked, drawn by a seed.
std::string answers(const RunList& list, const std::string& beneath, unsigned seed) {
  std::mt19937 random(seed);
  const auto one_of = [&](std::vector<std::string> words) { return words[random() % words.size()]; };
  const RunListFilter filter{one_of({"", "", "K1", "k1"}), one_of({"", "", "Drumlin four-lamp gauge"}),
                             one_of({"", "acceptance"}),   one_of({"", "", "pass", "fail", "undecided"}),
                             one_of({"", "2031-03-13"}),   one_of({"", "", "k", "DRUM", "run-1", "%", "_"}),
                             one_of({"", beneath})};
  const RunList::UnitFilter units{one_of({"", "Drumlin four-lamp gauge"}), one_of({"", "1", "K"}),
                                  random() % 2 == 0};
  const MeasuredFilter measured{one_of({"", "K1"}), "", one_of({"", "2031-03-12"}), random() % 2 == 0};
  std::string out = std::to_string(list.count(filter)) + "\n";
  for (const ListedRun& r : list.runs(filter, 1 + random() % 9, random() % 3)) out += told(r);
  out += std::to_string(list.count(units)) + "\n";
  for (const ListedUnit& u : list.units(units, 3, random() % 2))
    out += u.unit + '|' + std::to_string(u.runs) + u.last_day + told(u.last);
  for (const HistoryRun& r : list.measured(measured, 1 + random() % 6)) out += told(r);
  return out;
}

TEST_F(HistoryServer, ListsWhatAFileLists) {
  std::mt19937 random(7);
  const std::filesystem::path moved = temporary.path() / "elsewhere";
  for (int i = 0; i < 24; ++i) {
    const std::string unit = random() % 6 == 0 ? "" : "K" + std::to_string(random() % 4);
    const std::string day = std::to_string(10 + random() % 6);
    std::filesystem::path folder =
        random() % 5 == 0 ? failed_run(unit, {cause("Lamp left is dark", 2, 3), cause("It's <dim>", 1, 3)})
                          : run(unit, "2031-03-" + day + "T10:00:00+01:00", 0.1 * i, random() % 4 != 0,
                                random() % 3 == 0 ? "simulated" : "board");
    for (const HistoryPlace& place : {HistoryPlace(file()), HistoryPlace(address_)})
      History(place, History::Open::make).add(folder);
    if (i != 5) continue;
    std::filesystem::rename(folder, moved);
    for (const HistoryPlace& place : {HistoryPlace(file()), HistoryPlace(address_)})
      EXPECT_FALSE(History(place, History::Open::make).add(moved));
  }
  const RunList of_file{HistoryPlace(file())}, of_server{HistoryPlace(address_)};
  EXPECT_EQ(of_file.gauges(), of_server.gauges());
  EXPECT_EQ(of_file.scenarios(), of_server.scenarios());
  const auto sorted = [](std::vector<std::string> all) {
    std::sort(all.begin(), all.end());
    return all;
  };
  EXPECT_EQ(sorted(of_file.folders(temporary.path())), sorted(of_server.folders(temporary.path())));
  std::set<std::string> different;
  for (unsigned seed = 0; seed < 60; ++seed) {
    const std::string wanted = answers(of_file, temporary.path(), seed);
    EXPECT_EQ(wanted, answers(of_server, temporary.path(), seed)) << "seed " << seed;
    different.insert(wanted);
  }
  EXPECT_GT(different.size(), 30U) << "too few questions had answers of their own";
}

}  // namespace
}  // namespace tachproof

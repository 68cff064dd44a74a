// How long do lists, drifts and adding take in a history of many runs? A table for RESULTS.md; nothing is
// asserted.
//
//     history_times RESULT.json [RUNS]     copies of one run: 200 units, thresholds that wander; a file and a
//     server
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>

#include "bench/history/history_store.h"
#include "bench/history/trends.h"
#include "bench/record/disk.h"
#include "tests/bench/postgres_server.h"

namespace {

using namespace tachproof;
using Json = nlohmann::json;

constexpr std::size_t units = 200;

double ms_of(const std::function<void()>& what) {
  const auto before = std::chrono::steady_clock::now();
  what();
  return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - before).count();
}

// Every run a minute after the one before.
CountedRun numbered(Json result, std::size_t number) {
  result["unit"]["serial"] = fmt::format("DR-{:04}", number % units);
  result["rig"]["watch"] = "board";
  result["rig"]["source"] = "board";
  const std::size_t day = number / 480, minute = number % 480;
  result["started"] = fmt::format("{}-{:02}-{:02}T{:02}:{:02}:00+00:00", 2031 + day / 336, 1 + day / 28 % 12,
                                  1 + day % 28, 8 + minute / 60, minute % 60);
  for (Json& boundary : result["boundaries"])
    if (boundary["threshold_rpm"].is_number())
      boundary["threshold_rpm"] =
          boundary["threshold_rpm"].get<double>() + 0.01 * static_cast<double>(number * 37 % 41);
  return counted_before(result.dump(1), fmt::format("/srv/runs/{:06}", number), Verdict::pass, true);
}

void measure(const char* name, const HistoryPlace& place, const Json& result, std::size_t runs) {
  std::vector<double> added;
  {
    const auto store = HistoryStore::open(place, HistoryStore::Open::make);
    for (std::size_t i = 0; i < runs; ++i) {
      const CountedRun run = numbered(result, i);
      added.push_back(ms_of([&] { store->add(run); }));
    }
  }
  std::sort(added.begin(), added.end());
  fmt::print("| {} | add a run, the last of {} | {:.1f} (95 %: {:.1f}) |\n", name, runs, added[runs / 2],
             added[runs * 95 / 100]);
  const auto row = [&](const char* what, const std::function<std::size_t(const HistoryStore&)>& ask) {
    std::vector<double> took;
    std::size_t found = 0;
    for (int i = 0; i < 11; ++i)
      took.push_back(ms_of([&] { found = ask(*HistoryStore::open(place, HistoryStore::Open::list)); }));
    std::sort(took.begin(), took.end());
    fmt::print("| {} | {} ({} found), connecting included | {:.1f} (longest {:.1f}) |\n", name, what, found,
               took[5], took[10]);
    std::fflush(stdout);
  };
  RunListFilter filter;
  filter.unit = "DR-0042";
  row("runs of one unit",
      [&](const HistoryStore& s) { return s.count(filter) * !s.listed(filter, 50, 0).empty(); });
  RunListFilter since;
  since.since = "2031-01-20";
  since.verdict = "pass";
  row("passes since a day, a page of 50",
      [&](const HistoryStore& s) { return s.count(since) * !s.listed(since, 50, 0).empty(); });
  RunListFilter find;
  find.find = "r-0042";
  row("a text anywhere",
      [&](const HistoryStore& s) { return s.count(find) * !s.listed(find, 50, 0).empty(); });
  HistoryFilter unit;
  unit.unit = "DR-0042";
  row("drift of a unit", [&](const HistoryStore& s) { return drifts(s.runs(unit)).size(); });
  row("units, a page of 50", [&](const HistoryStore& s) { return s.units({}, 50, 0).size(); });
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) {
    fmt::print(stderr, "history_times RESULT.json [RUNS]\n");
    return 2;
  }
  const Json result = Json::parse(whole_file(argv[1]));
  const std::size_t runs = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 10'000;
  const std::filesystem::path file =
      std::filesystem::temp_directory_path() / fmt::format("history-times-{}.db", ::getpid());
  fmt::print("| place | what | ms |\n| --- | --- | --- |\n");
  measure("file", file, result, runs);
  std::filesystem::remove(file);
  if (PostgresServer::programs().empty()) return 0;
  PostgresServer server(true);
  measure("server", HistoryPlace(server.new_database()), result, runs);
}

// Runs: a list with filters in the address, a run's report, two runs compared.
#include <fmt/format.h>

#include <algorithm>
#include <chrono>

#include "bench/page/frame.h"
#include "bench/page/places.h"
#include "bench/record/disk.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

struct ListedRun {
  std::string name;
  fs::path folder;
};

// Newest first: names begin with the day and the hour.
std::vector<ListedRun> run_folders(const Shop& shop) {
  std::vector<ListedRun> runs;
  std::error_code error;
  for (fs::directory_iterator entry(shop.runs(), error), end; !error && entry != end;
       entry.increment(error)) {
    if (!entry->is_directory(error) || entry->is_symlink(error)) continue;
    const std::string name = entry->path().filename().string();
    if (fs::exists(entry->path() / "result.json", error)) {
      runs.push_back({name, entry->path()});
      continue;
    }
    for (fs::directory_iterator part(entry->path(), error); !error && part != end; part.increment(error))
      if (fs::exists(part->path() / "result.json", error))
        runs.push_back({name + "/" + part->path().filename().string(), part->path()});
  }
  std::sort(runs.begin(), runs.end(), [](const ListedRun& a, const ListedRun& b) { return a.name > b.name; });
  return runs;
}

Response report_of(const Shop& shop, const std::string& name) {
  const std::optional<fs::path> folder = shop.run_folder(name);
  if (!folder) return not_found("There is no run " + name + ".");
  Response response = plain_text(whole_file(*folder / "report.html"), "text/html; charset=utf-8");
  response.headers.emplace_back("X-Report", "yes");
  return response;
}

}  // namespace

void add_runs_routes(Router& router, const Shop& shop) {
  router.on("GET", "/runs", [&shop](const Request& request) {
    const std::string wanted = request.query.get("find");
    constexpr std::size_t most = 200;
    std::string rows;
    std::size_t shown = 0, all = 0;
    for (const ListedRun& run : run_folders(shop)) {
      if (!wanted.empty() && run.name.find(wanted) == run.name.npos) continue;
      ++all;
      if (shown++ >= most) continue;
      rows += fmt::format("<li><a href=\"/runs/{}\">{}</a></li>\n", url_encoded(run.name), escaped(run.name));
    }
    return plain_text(
        framed_page(
            "/runs", "Runs",
            fmt::format(
                "<h1>Runs</h1>\n<form class=\"find\"><label for=\"find\">Name or serial number</label> "
                "<input id=\"find\" name=\"find\" value=\"{}\"> <button>Find</button></form>\n"
                "<p>{} runs{}</p>\n<ul>{}</ul>\n",
                escaped(wanted), all, all > most ? fmt::format(", the newest {} of them", most) : "", rows)),
        "text/html; charset=utf-8");
  });
  router.on("GET", "/runs/*", [&shop](const Request& request) {
    // A part of a job stands behind a slash, which its address has as %2F or as itself.
    return report_of(shop, request.parts[0]);
  });
  router.on("GET", "/runs/*/*", [&shop](const Request& request) {
    return report_of(shop, request.parts[0] + "/" + request.parts[1]);
  });
}

}  // namespace tachproof

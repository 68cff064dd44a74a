// Units: how each one's boundaries drift and how the units spread, from the history.
#include <fmt/format.h>

#include "bench/history/history_report.h"
#include "bench/page/frame.h"
#include "bench/page/places.h"
#include "bench/record/record.h"
#include "bench/record/text.h"

namespace tachproof {

void add_units_routes(Router& router, const TileSettings& settings) {
  router.on("GET", "/units", [settings](const Request& request) {
    const std::filesystem::path file =
        settings.no_history ? std::filesystem::path() : history_file(settings.history);
    if (file.empty() || !std::filesystem::exists(file))
      return plain_text(
          framed_page("/units", "Units", "<h1>Units</h1>\n<p>No run is in the history yet.</p>\n"),
          "text/html; charset=utf-8");
    HistoryFilter filter;
    filter.unit = request.query.get("unit");
    filter.gauge = request.query.get("gauge");
    const HistoryView view = view_of(History(file, History::Open::existing).runs(filter));
    Response response =
        plain_text(history_html(view, filter.unit, now_iso8601()), "text/html; charset=utf-8");
    response.headers.emplace_back("X-Report", "yes");
    return response;
  });
}

}  // namespace tachproof

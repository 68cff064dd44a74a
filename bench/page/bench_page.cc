#include "bench/page/bench_page.h"

#include <algorithm>

#include "bench/page/bench_place.h"
#include "bench/page/frame.h"
#include "bench/page/places.h"

namespace tachproof {

BenchPage::BenchPage(const std::filesystem::path& folder, TileSettings settings)
    : shop_(folder), settings_(std::move(settings)) {
  router_.on("GET", "/page.css",
             [](const Request&) { return plain_text(std::string(page_style()), "text/css; charset=utf-8"); });
  router_.on("GET", "/page.js", [](const Request&) {
    return plain_text(std::string(page_script()), "text/javascript; charset=utf-8");
  });
  bench_routes();
  const auto errands = std::make_shared<Errands>();
  errands->add_routes(router_);
  add_runs_routes(router_, shop_, settings_, errands);
  add_units_routes(router_, shop_, settings_);
  add_gauges_routes(router_, shop_, errands);
  add_rigs_routes(
      router_, shop_, [this] { return views(); }, errands);
  look_for_rigs(shop_.jobs());
}

BenchPage::~BenchPage() {
  for (const auto& tile : tiles_) tile->stop();  // all at once, then each is waited for
}

std::size_t BenchPage::busy() const {
  return static_cast<std::size_t>(
      std::count_if(tiles_.begin(), tiles_.end(), [](const auto& tile) { return tile->busy(); }));
}

void BenchPage::look_for_rigs(const std::vector<ShopJob>& jobs) {
  const std::lock_guard lock(mutex_);
  for (const ShopJob& job : jobs) {
    if (!job.trouble.empty()) continue;
    const bool known =
        std::any_of(tiles_.begin(), tiles_.end(), [&](const auto& tile) { return tile->rig() == job.rig; });
    if (known) continue;
    tiles_.push_back(std::make_unique<Tile>(shop_, job.rig, settings_, feed_));
    tiles_.back()->choose(job.file);
  }
}

Tile* BenchPage::tile(const std::string& id) {
  const std::lock_guard lock(mutex_);
  const auto found =
      std::find_if(tiles_.begin(), tiles_.end(), [&](const auto& one) { return one->id() == id; });
  return found == tiles_.end() ? nullptr : found->get();
}

std::vector<TileView> BenchPage::views() {
  const std::lock_guard lock(mutex_);
  std::vector<TileView> views;
  for (const auto& tile : tiles_) views.push_back(tile->view());
  return views;
}

void BenchPage::tile_route(const std::string& what, std::function<void(Tile&, const Request&)> does) {
  router_.on("POST", "/tiles/*/" + what, [this, does = std::move(does)](const Request& request) {
    Tile* const asked = tile(request.parts[0]);
    if (asked == nullptr) return not_found("There is no such rig.");
    does(*asked, request);
    // Our script fetches the tile when its state has changed.
    if (request.asks_fragment) return Response{204, "text/plain", {}, {}, {}};
    // No "#tile": where there is no script the page loads itself again, and with that it would only scroll.
    return see_other("/");
  });
}

void BenchPage::bench_routes() {
  router_.on("GET", "/", [this](const Request&) {
    const std::vector<ShopJob> jobs = shop_.jobs();
    look_for_rigs(jobs);
    return plain_text(bench_html(views(), jobs), "text/html; charset=utf-8");
  });
  router_.on("GET", "/tiles/*", [this](const Request& request) {
    Tile* const asked = tile(request.parts[0]);
    if (asked == nullptr) return not_found("There is no such rig.");
    const TileView view = asked->view();
    Response response =
        plain_text(tile_html(view, shop_.jobs(), views().size() == 1), "text/html; charset=utf-8");
    response.headers.emplace_back("X-Tile-Number", std::to_string(view.number));
    response.headers.emplace_back("X-Tile-State", std::string(word(view.state)));
    return response;
  });
  // All tiles on one connection: a browser opens six to one server, and one must be left to start a run with.
  router_.on("GET", "/events", [this](const Request&) {
    Response response;
    response.feed = feed_;
    return response;
  });
  router_.on("GET", "/tiles/*/events", [this](const Request& request) {
    Tile* const asked = tile(request.parts[0]);
    if (asked == nullptr) return not_found("There is no such rig.");
    Response response;
    response.feed = asked->feed();
    return response;
  });
  tile_route("job", [](Tile& tile, const Request& request) { tile.choose(request.form.get("job")); });
  tile_route("start", [](Tile& tile, const Request& request) {
    tile.start(request.form.get("serial"), request.form.get("again") == "yes");
  });
  tile_route("again", [](Tile& tile, const Request&) { tile.start(tile.view().serial, true); });
  tile_route("stop", [](Tile& tile, const Request&) { tile.stop(); });
  tile_route("next", [](Tile& tile, const Request&) { tile.next(); });
  tile_route("answer", [](Tile& tile, const Request& request) { tile.answer(request.form.get("answer")); });
}

}  // namespace tachproof

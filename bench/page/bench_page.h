// The bench page: all its addresses, over one shop.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "bench/page/request.h"
#include "bench/page/shop.h"
#include "bench/page/tile.h"

namespace tachproof {

class BenchPage {
 public:
  // Throws std::runtime_error where the folder cannot be served.
  BenchPage(const std::filesystem::path& folder, TileSettings settings);
  ~BenchPage();  // stops all runs, and waits until they have

  Response answer(const Request& request) { return router_(request); }
  const Shop& shop() const { return shop_; }
  // Tiles on which something goes on.
  std::size_t busy() const;

 private:
  // A tile for each rig that a job names; new ones appear when a job does.
  void look_for_rigs(const std::vector<ShopJob>& jobs);
  Tile* tile(const std::string& id);
  std::vector<TileView> views();

  void bench_routes();
  void tile_route(const std::string& what, std::function<void(Tile&, const Request&)> does);

  Shop shop_;
  TileSettings settings_;
  Router router_;
  std::mutex mutex_;                                                       // of the list of tiles
  const std::shared_ptr<EventFeed> feed_ = std::make_shared<EventFeed>();  // of all tiles
  std::vector<std::unique_ptr<Tile>> tiles_;
};

}  // namespace tachproof

// The bench: a tile for each rig, in one of its states.
#pragma once

#include <string>
#include <vector>

#include "bench/page/shop.h"
#include "bench/page/tile.h"

namespace tachproof {

// All tiles; `jobs` are the shop's.
std::string bench_html(const std::vector<TileView>& tiles, const std::vector<ShopJob>& jobs);

// The inside of one tile: what our script fetches anew when its state has changed. `alone`: it has the
// screen.
std::string tile_html(const TileView& tile, const std::vector<ShopJob>& jobs, bool alone);

}  // namespace tachproof

// The engineer's places, each a few addresses of the router.
#pragma once

#include <functional>
#include <memory>
#include <vector>

#include "bench/page/errands.h"
#include "bench/page/request.h"
#include "bench/page/shop.h"
#include "bench/page/tile.h"

namespace tachproof {

// Each keeps a reference to what it is given.
// /runs, /runs/NAME, two runs compared
void add_runs_routes(Router& router, const Shop& shop, const TileSettings& settings,
                     const std::shared_ptr<Errands>& errands);
// /units, /units/SERIAL: the history
void add_units_routes(Router& router, const Shop& shop, const TileSettings& settings);
// /gauges, /gauges/FILE
void add_gauges_routes(Router& router, const Shop& shop, const std::shared_ptr<Errands>& errands);
// /rigs, /rigs/FILE, the lamp test
void add_rigs_routes(Router& router, const Shop& shop, std::function<std::vector<TileView>()> tiles,
                     const std::shared_ptr<Errands>& errands);

}  // namespace tachproof

// One run: its frame, its report, its files, what can be done with it; and two runs compared.
#pragma once

#include <memory>

#include "bench/page/errands.h"
#include "bench/page/shop.h"
#include "bench/page/tile.h"

namespace tachproof {

// /runs/compare, and beneath /runs/NAME, where NAME may have slashes: /report, /verify, /accept,
// /files/FILE.
void add_run_page_routes(Router& router, const Shop& shop, const TileSettings& settings,
                         const std::shared_ptr<Errands>& errands);

}  // namespace tachproof

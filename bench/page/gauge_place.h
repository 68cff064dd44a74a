// The addresses of the gauges' place; each adds its own. `shop` outlives the router.
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "bench/page/errands.h"
#include "bench/page/request.h"
#include "bench/page/shop.h"

namespace tachproof {

void add_gauge_form_routes(Router& router, const Shop& shop);  // /gauges/FILE, /gauges/FILE/check
void add_gauge_lap_routes(Router& router, const Shop& shop);   // /gauges/FILE/lap
// /gauges/FILE/grade, /gauges/FILE/plan
void add_gauge_grade_routes(Router& router, const Shop& shop, const std::shared_ptr<Errands>& errands);
// /deadband; /deadband/recordings, where a recording for it is handed in
void add_gauge_deadband_routes(Router& router, const Shop& shop, const std::shared_ptr<Errands>& errands);
void add_gauge_recordings_routes(Router& router, const Shop& shop, const std::shared_ptr<Errands>& errands);

// How the names of recordings end.
const std::vector<std::string>& recording_endings();

// gauge.js, compiled in.
std::string_view gauge_script();

}  // namespace tachproof

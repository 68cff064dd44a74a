#include "bench/page/gauge_place.h"

namespace tachproof {

void add_gauge_deadband_routes(Router&, const Shop&) {}

}  // namespace tachproof

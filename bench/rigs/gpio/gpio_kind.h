// A Linux computer's GPIO lines in a rig file: `kind: gpio`.
#pragma once

#include "bench/rigs/kinds.h"

namespace tachproof {

//     watch: {kind: gpio, chip: pinctrl-bcm2711, bias: pull-down, wiring: {lamps: ..., active: high}}
const WatchKind& gpio_watch_kind();

}  // namespace tachproof

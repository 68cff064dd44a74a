// A power supply in a rig file: `supply: {kind: scpi, ...}`.
#pragma once

#include "bench/rigs/kinds.h"

namespace tachproof {

//     supply: {kind: scpi, address: HOST:PORT, volts: 13.8V, limit_a: 2, from: 6V, to: 16V, ...}
//
// The other keys are those of PowerSupplySetting.
const SupplyKind& scpi_supply_kind();

}  // namespace tachproof

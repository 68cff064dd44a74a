// The board's output for the unit's supply in a rig file: `supply: {kind: board}`.
#pragma once

#include "bench/rigs/kinds.h"

namespace tachproof {

//     supply: {kind: board, switch_ms: {from: 1, to: 15}}
//
// `switch_ms`: how long after the output its relay or switch has cut the supply, or given it back.
const SupplyKind& board_supply_kind();

}  // namespace tachproof

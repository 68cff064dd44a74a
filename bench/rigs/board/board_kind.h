// A board in a rig file: `kind: board`, as a source and as the watcher on its own inputs.
#pragma once

#include "bench/rigs/kinds.h"

namespace tachproof {

//     source: {kind: board, port: /dev/..., buttons: {ACTION: press-1}, clock: {...}}
//
// `port` may be left out: the only board that is connected is taken. `buttons` says which of the board's
// outputs performs which action of a scenario. `clock` is what `tachproof calibrate` found, for the one
// board that `port` names:
//
//     clock: {fast_ppm: 12.3, uncertainty_ppm: 5.8, calibrated: 2031-03-14}
const SourceKind& board_source_kind();

//     watch: {kind: board, wiring: {lamps: ..., active: high}}
const WatchKind& board_watch_kind();

}  // namespace tachproof

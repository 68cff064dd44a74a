// Watching a reference on one of the board's inputs; nothing is played.
#pragma once

#include <functional>

#include "bench/rigs/board/board_connection.h"
#include "bench/rigs/board/clock_calibration.h"

namespace tachproof {

// `input`: from 0. `progress`: seconds watched so far, and pulses. Throws
// RigError as the connection does, and std::invalid_argument, a sentence, for
// an input that the board does not have.
ReferencePulses watch_reference(BoardConnection& board, unsigned input, Nanos lasts,
                                const std::function<void(double, std::size_t)>& progress = {});

}  // namespace tachproof

// What is played to a gauge so that a camera can learn its lamps: every window
// in turn, long enough to look at; and the bench's own lamp flashed, so that its
// place and the instant of the start can be found.
#pragma once

#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/signal/profile.h"

namespace tachproof {

// Holds and presses only. `sync`: the action that flashes the bench's lamp; empty: there is none.
std::vector<Step> teaching_steps(const Gauge& gauge, const std::string& sync);

}  // namespace tachproof

// Cues by name, so that those of two gauges with other lamps can be compared.
#pragma once

#include <map>
#include <string>

#include "core/gauge/gauge.h"

namespace tachproof {

// By lamp colour ("left white"): "lit" or "blinking"; one that is not there is dark.
using CueStates = std::map<std::string, std::string>;

CueStates states_of(const Gauge& gauge, const Cue& cue);
// Each lamp colour that changed, and what it is now; "dark" among them.
CueStates changes(const CueStates& before, const CueStates& after);
// "left white dark, top magenta blinking"; "nothing".
std::string listed(const CueStates& states);

}  // namespace tachproof

// A profile that shows what a gauge's buttons and its supply do: a take and a press that must be refused,
// each followed by ramps across the boundaries that the button moves; every level of dimming; a loss of
// power; all settings at both ends of what the unit may be fed, and a dip of that; the highest
// rpm, cleared and asked for.
#pragma once

#include <vector>

#include "core/plan/proof.h"

namespace tachproof {

// Empty for a gauge without buttons, power-up and supply. Begins and ends below the lowest boundary.
std::vector<ProofPart> button_parts(const Gauge& gauge, const ProofShape& shape);

}  // namespace tachproof

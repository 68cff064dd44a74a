// A profile of steps that are written where it is used.
#pragma once

#include <vector>

#include "core/signal/profile.h"

namespace tachproof {

inline Profile profile_of(const std::vector<Step>& steps) { return Profile(steps); }

}  // namespace tachproof

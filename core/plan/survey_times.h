// Times of a survey's steps, as they are written down.
#pragma once

#include <algorithm>

#include "core/base/time.h"

namespace tachproof {

// Whole tenths of a millisecond, at least one.
inline Nanos tenths_ms(Nanos t) { return std::max<Nanos>((t + 50'000) / 100'000 * 100'000, 100'000); }

}  // namespace tachproof

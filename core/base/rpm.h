// How fast an engine may turn here.
#pragma once

namespace tachproof {

inline constexpr double max_rpm = 20'000;

}  // namespace tachproof

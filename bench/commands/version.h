#pragma once

#include <string_view>

namespace tachproof {

inline constexpr std::string_view tool_version = TACHPROOF_VERSION;

}  // namespace tachproof

// The words that every part of the program has in common.
#pragma once

#include <limits>
#include <string_view>

namespace tachproof {

// undecided: the bench could not decide. Never folded into pass or fail.
enum class Verdict { pass, fail, undecided };
std::string_view word(Verdict v);  // "pass", "fail", "undecided"

// fail beats undecided beats pass.
Verdict worst(Verdict a, Verdict b);

enum class Direction { rising, falling };
std::string_view word(Direction d);

inline constexpr double not_measured = std::numeric_limits<double>::quiet_NaN();  // null in JSON

}  // namespace tachproof

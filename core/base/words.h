// Words for messages: numbers, names and the nearest word.
#pragma once

#include <span>
#include <string>
#include <string_view>

namespace tachproof {

// The shortest decimal that reads back as the same number, without an
// exponent where that stays readable: 3720, 0.4, 1e-09.
std::string number_text(double value);

// A name that a file may give to a lamp, colour, anchor, window or action:
// 1 to 64 bytes of A-Z a-z 0-9 _ . - and UTF-8 letters; no blanks.
bool is_name(std::string_view text);
inline constexpr std::string_view name_rule =
    "a name of letters, digits, '_', '.' and '-', without blanks, at most 64 bytes";

// The candidate that `word` was probably meant to be: at most one edit in
// three letters away (insertion, deletion, substitution or a swap of
// neighbours; case does not count). Empty when none is near.
std::string nearest(std::string_view word, std::span<const std::string> candidates);

}  // namespace tachproof

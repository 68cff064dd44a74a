// Text that a file or a device wrote, made fit to be shown.
//
// A terminal obeys control characters, and the characters that turn the direction of writing let
// a line say one thing and show another. Each is shown as what it is, "\x1b" or "\u202e"; so is
// each byte that is no UTF-8. What is left reads as it did, and shown twice it stays the same.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace tachproof {

// The length in bytes of the well-formed sequence at the front (Unicode 15, table 3-7), or 0;
// `code` is its code point. `text` is not empty.
std::size_t utf8_sequence(std::string_view text, char32_t& code);

// The controls C0, DEL and C1; U+202A to U+202E and U+2066 to U+2069, which turn the direction of
// writing (Unicode 15, UAX #9, 2.1 to 2.5); U+FFFE and U+FFFF, which XML 1.0 forbids.
bool is_control(char32_t code);

// "\x1b", "\u202e"; for a control.
std::string control_shown(char32_t code);
std::string byte_shown(unsigned char byte);  // "\xff"

// One line: line ends and tabs too are shown, as \n, \r and \t.
std::string shown(std::string_view text);

}  // namespace tachproof

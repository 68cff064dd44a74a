// Decimal digits, eight at a time: read, with every byte checked, and put together.
#pragma once

#include <array>
#include <bit>
#include <cstdint>
#include <cstring>

namespace tachproof {

inline constexpr std::uint64_t powers_of_ten[] = {1,
                                                  10,
                                                  100,
                                                  1'000,
                                                  10'000,
                                                  100'000,
                                                  1'000'000,
                                                  10'000'000,
                                                  100'000'000,
                                                  1'000'000'000,
                                                  10'000'000'000,
                                                  100'000'000'000,
                                                  1'000'000'000'000,
                                                  10'000'000'000'000,
                                                  100'000'000'000'000,
                                                  1'000'000'000'000'000,
                                                  10'000'000'000'000'000,
                                                  100'000'000'000'000'000,
                                                  1'000'000'000'000'000'000,
                                                  10'000'000'000'000'000'000u};

namespace detail {

static_assert(std::endian::native == std::endian::little);

// The 1 to 8 digits that end before `end`. Eight bytes before `end` are read.
// The first digit is in the lowest byte, so pairs, then fours, then all eight
// are joined by a multiplication and a shift each.
inline bool up_to_8_digits(const char* end, unsigned count, std::uint64_t& value) {
  constexpr std::uint64_t zeros = 0x3030303030303030;
  std::uint64_t w;
  std::memcpy(&w, end - 8, 8);
  const std::uint64_t others = (std::uint64_t{1} << (8 * (8 - count) & 63)) - 1;  // count 8: none
  w = (w & ~others) | (zeros & others);
  const std::uint64_t d = w - zeros;
  // The first byte that is no digit has no carry from below: less than '0', or
  // far above, shows in its top bits at once; just above '9', when 6 is added.
  if (((d | (d + 0x0606060606060606)) & 0xF0F0F0F0F0F0F0F0) != 0) return false;
  std::uint64_t v = d * 10 + (d >> 8);
  v &= 0x00FF00FF00FF00FF;
  v = (v * 100 + (v >> 16)) & 0x0000FFFF0000FFFF;
  v = (v * 10'000 + (v >> 32)) & 0xFFFFFFFF;
  value = v;
  return true;
}

}  // namespace detail

// Whether the `count` bytes from `p` are all digits, and their value;
// 1 <= count <= 16. Up to 15 bytes before `p` are read.
inline bool read_digits(const char* p, unsigned count, std::uint64_t& value) {
  const char* const end = p + count;
  if (count <= 8) return detail::up_to_8_digits(end, count, value);
  std::uint64_t high = 0;
  std::uint64_t low = 0;
  if (!detail::up_to_8_digits(end, 8, low) || !detail::up_to_8_digits(end - 8, count - 8, high)) return false;
  value = high * 100'000'000 + low;
  return true;
}

namespace detail {

// "00" to "99".
inline constexpr std::array<std::uint16_t, 100> two_digits = [] {
  std::array<std::uint16_t, 100> all{};
  for (std::size_t i = 0; i < all.size(); ++i)
    all[i] = static_cast<std::uint16_t>(('0' + i / 10) | ('0' + i % 10) << 8);
  return all;
}();

}  // namespace detail

// The text of n < 10,000, and of n < 100,000,000, with zeros in front, the first digit in the lowest byte. In
// a register: what is stored byte by byte is slow to read back.
inline std::uint32_t four_digits(std::uint32_t n) {
  return detail::two_digits[n / 100] | std::uint32_t{detail::two_digits[n % 100]} << 16;
}
inline std::uint64_t eight_digits(std::uint32_t n) {
  return four_digits(n / 10'000) | std::uint64_t{four_digits(n % 10'000)} << 32;
}

}  // namespace tachproof

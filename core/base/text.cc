#include "core/base/text.h"

#include <array>
#include <charconv>
#include <cmath>

namespace tachproof {

std::string decimal(double value, int decimals) {
  if (!std::isfinite(value)) return "unknown";
  std::array<char, 400> text{};
  const auto end =
      std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed, decimals);
  return {text.data(), end.ptr};
}

std::string say_time(Nanos t) { return decimal(to_seconds(t), 3) + " s"; }

std::string say_span(Nanos span) {
  if (span < ns_per_ms) return decimal(static_cast<double>(span) * 1e-3, 0) + " us";
  if (span < ns_per_s) return decimal(to_ms(span), 1) + " ms";
  return decimal(to_seconds(span), 2) + " s";
}

}  // namespace tachproof

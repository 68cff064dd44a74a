#include "bench/commands/units.h"

#include <charconv>
#include <cmath>
#include <optional>
#include <span>
#include <string_view>

#include "bench/commands/command.h"
#include "core/base/parse.h"

namespace tachproof {

namespace {

struct Unit {
  std::string_view name;
  double scale;
};

double number_with_unit(const std::string& option, const std::string& text, std::span<const Unit> units,
                        const std::string& allowed) {
  double number = 0;
  const char* const end = text.data() + text.size();
  const auto [rest, error] = std::from_chars(text.data(), end, number);
  if (error == std::errc{} && std::isfinite(number)) {
    std::string_view unit(rest, static_cast<std::size_t>(end - rest));
    while (unit.starts_with(' ')) unit.remove_prefix(1);
    for (const Unit& known : units)
      if (unit == known.name) return number * known.scale;
  }
  throw UsageError(option + " is '" + text + "'; allowed is " + allowed);
}

}  // namespace

double speed_m_per_s(const std::string& option, const std::string& text) {
  constexpr Unit units[] = {
      {"km/h", m_per_s_per_kmh}, {"kmh", m_per_s_per_kmh}, {"mph", m_per_s_per_mph}, {"m/s", 1}};
  return number_with_unit(option, text, units, "a speed such as 60km/h, 45mph or 20m/s");
}

double length_m(const std::string& option, const std::string& text) {
  constexpr Unit units[] = {{"m", 1}, {"cm", 0.01}, {"mm", 0.001}, {"in", 0.0254}, {"ft", 0.3048}};
  return number_with_unit(option, text, units, "a length such as 635mm, 63.5cm, 0.635m, 25in or 2ft");
}

double rpm_value(const std::string& option, const std::string& text) {
  constexpr Unit units[] = {{"", 1}, {"rpm", 1}};
  return number_with_unit(option, text, units, "an rpm such as 3720 or 3720rpm");
}

double seconds(const std::string& option, const std::string& text) {
  constexpr Unit units[] = {{"ms", 1e-3}, {"s", 1}, {"min", 60}, {"h", 3600}};
  return number_with_unit(option, text, units, "a time such as 250ms, 60s, 5min or 1h");
}

double plain_number(const std::string& option, const std::string& text) {
  constexpr Unit units[] = {{"", 1}};
  return number_with_unit(option, text, units, "a number such as 1.54");
}

Share share_in(const std::string& text) {
  if (text.empty()) return {};
  const std::size_t slash = text.find('/');
  if (slash != text.npos) {
    const auto shard = parse_number<int>(text.substr(0, slash));
    const auto shards = parse_number<int>(text.substr(slash + 1));
    if (shard && shards && *shards >= 1 && *shards <= 1'000'000 && *shard >= 1 && *shard <= *shards)
      return {*shard, *shards};
  }
  throw UsageError("--shard is '" + text + "'; it must be I/N, such as 2/3, with I from 1 to N");
}

}  // namespace tachproof

#include "bench/commands/units.h"

#include <charconv>
#include <cmath>
#include <initializer_list>
#include <optional>
#include <string_view>
#include <vector>

#include "bench/commands/command.h"
#include "core/base/parse.h"
#include "core/gauge/drive.h"

namespace tachproof {

namespace {

// `scale_of` has what one of a unit is worth, or nothing for a word that is no unit.
template <class ScaleOf>
double number_with_unit(const std::string& option, const std::string& text, ScaleOf scale_of,
                        const std::string& allowed) {
  double number = 0;
  const char* const end = text.data() + text.size();
  const auto [rest, error] = std::from_chars(text.data(), end, number);
  if (error == std::errc{} && std::isfinite(number)) {
    std::string_view unit(rest, static_cast<std::size_t>(end - rest));
    while (unit.starts_with(' ')) unit.remove_prefix(1);
    if (const std::optional<double> scale = scale_of(unit)) return number * *scale;
  }
  throw UsageError(option + " is '" + text + "'; allowed is " + allowed);
}

struct Unit {
  std::string_view name;
  double scale;
};

auto one_of(std::initializer_list<Unit> units) {
  return [units = std::vector<Unit>(units)](std::string_view unit) -> std::optional<double> {
    for (const Unit& known : units)
      if (unit == known.name) return known.scale;
    return std::nullopt;
  };
}

}  // namespace

double speed_m_per_s(const std::string& option, const std::string& text) {
  const auto scale_of = [](std::string_view name) -> std::optional<double> {
    const std::optional<SpeedUnit> unit = speed_unit_named(name);
    return unit ? std::optional(m_per_s_of(*unit)) : std::nullopt;
  };
  return number_with_unit(option, text, scale_of, "a speed such as 60km/h, 45mph or 20m/s");
}

double length_m(const std::string& option, const std::string& text) {
  return number_with_unit(option, text, metres_of, "a length such as 635mm, 63.5cm, 0.635m, 25in or 2ft");
}

double rpm_value(const std::string& option, const std::string& text) {
  return number_with_unit(option, text, one_of({{"", 1}, {"rpm", 1}}), "an rpm such as 3720 or 3720rpm");
}

double seconds(const std::string& option, const std::string& text) {
  return number_with_unit(option, text, one_of({{"ms", 1e-3}, {"s", 1}, {"min", 60}, {"h", 3600}}),
                          "a time such as 250ms, 60s, 5min or 1h");
}

double plain_number(const std::string& option, const std::string& text) {
  return number_with_unit(option, text, one_of({{"", 1}}), "a number such as 1.54");
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

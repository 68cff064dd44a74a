#include "core/gauge/drive.h"

#include <algorithm>
#include <cmath>

#include "core/base/text.h"
#include "core/base/words.h"

namespace tachproof {

std::string_view word(SpeedUnit unit) {
  switch (unit) {
    case SpeedUnit::kmh: return "km/h";
    case SpeedUnit::mph: return "mph";
    case SpeedUnit::m_per_s: return "m/s";
  }
  return "m/s";
}

double m_per_s_of(SpeedUnit unit) {
  switch (unit) {
    case SpeedUnit::kmh: return m_per_s_per_kmh;
    case SpeedUnit::mph: return m_per_s_per_mph;
    case SpeedUnit::m_per_s: return 1;
  }
  return 1;
}

double in_unit(double m_per_s, SpeedUnit unit) { return m_per_s / m_per_s_of(unit); }

std::optional<SpeedUnit> speed_unit_named(std::string_view unit) {
  for (const SpeedUnit known : {SpeedUnit::kmh, SpeedUnit::mph, SpeedUnit::m_per_s})
    if (unit == word(known)) return known;
  if (unit == "kmh") return SpeedUnit::kmh;
  return std::nullopt;
}

std::optional<double> metres_of(std::string_view unit) {
  constexpr std::pair<std::string_view, double> units[] = {
      {"m", 1}, {"cm", 0.01}, {"mm", 0.001}, {"in", 0.0254}, {"ft", 0.3048}};
  for (const auto& [name, metres] : units)
    if (unit == name) return metres;
  return std::nullopt;
}

Quantity Drive::speed_when_set(double rpm, double within_rpm) const {
  return speed_at({rpm, within_rpm / std::sqrt(3.0)});
}

double set_rpm(double m_per_s, const Drive& drive, double resolution_rpm) {
  // 3720 is 3720, whatever the last bit says.
  constexpr double slack = 1e-6;
  const double exact = rpm_at_speed({m_per_s, 0}, drive.gearing, drive.tyre).value;
  return std::floor(exact / resolution_rpm + slack) * resolution_rpm;
}

std::string in_words(const Drive& drive) {
  std::string text =
      "gear " + number_text(drive.gearing.gear) + ", final drive " + number_text(drive.gearing.final_drive);
  for (const auto& [key, written] : drive.tyre_written) {
    std::string name = key;
    std::replace(name.begin(), name.end(), '_', ' ');
    text += ", " + name + " " + written;
  }
  return text;
}

std::string say_speed(const Quantity& m_per_s, SpeedUnit unit) {
  const double u = speed_coverage * in_unit(m_per_s.standard_uncertainty, unit);
  const int decimals = !(u > 0) || u < 0.1 ? 3 : u < 1 ? 2 : u < 10 ? 1 : 0;
  return decimal(in_unit(m_per_s.value, unit), decimals) + " " + std::string(word(unit)) + " +-" +
         decimal(u, decimals);
}

}  // namespace tachproof

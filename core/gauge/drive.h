// The car behind a gauge's rpm: gearing and tyre, with which a gauge file may say speeds where it
// would say rpm, and which say what speed an rpm means.
//
// A unit is set in rpm. What a person wrote is kept beside the rpm that it came to, for files and
// pages; all else uses the rpm.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/gauge/speed.h"

namespace tachproof {

enum class SpeedUnit { kmh, mph, m_per_s };
std::string_view word(SpeedUnit unit);  // "km/h", "mph", "m/s"
double in_unit(double m_per_s, SpeedUnit unit);
double m_per_s_of(SpeedUnit unit);
// As people type them; nothing for any other word.
std::optional<SpeedUnit> speed_unit_named(std::string_view unit);  // "km/h", "kmh", "mph", "m/s"
std::optional<double> metres_of(std::string_view unit);            // "mm", "cm", "m", "in", "ft"

// A speed as a file says it.
struct Speed {
  double m_per_s = 0;  // may be below 0 in an offset
  SpeedUnit unit = SpeedUnit::kmh;
  std::string written;  // "60km/h"
};

struct Drive {
  Gearing gearing;
  Tyre tyre;
  // The keys of the tyre as a file has them: {"tyre_circumference", "1.98m"}.
  std::vector<std::pair<std::string, std::string>> tyre_written;
  SpeedUnit said_in = SpeedUnit::kmh;  // what the file's own speeds are in

  Quantity speed_at(Quantity rpm) const { return speed_at_rpm(rpm, gearing, tyre); }  // m/s
  // Of lamps that are set to `rpm` and may change anywhere within +-`within_rpm` of it: rectangular
  // (JCGM 100:2008, 4.3.7), beside the tyre's own uncertainty.
  Quantity speed_when_set(double rpm, double within_rpm) const;
};

// The rpm that a unit is set to for this speed, or offset of speed: the highest multiple of
// `resolution_rpm` that is not above it, so that nobody is told to go faster than was said.
double set_rpm(double m_per_s, const Drive& drive, double resolution_rpm);

// "gear 2.05, final drive 3.1, tyre circumference 1.98m".
std::string in_words(const Drive& drive);

// "59.998 km/h +-0.304": two digits of the expanded uncertainty (k = 2), at most 3 decimals.
std::string say_speed(const Quantity& m_per_s, SpeedUnit unit);

}  // namespace tachproof

// From a speed limit, gearing and tyre to an rpm, and back, with the
// uncertainty that each input carries.
//
//     v = rpm / 60 / ratio * circumference,  ratio = gear * final drive.
#pragma once

namespace tachproof {

inline constexpr double m_per_s_per_kmh = 1 / 3.6;
inline constexpr double m_per_s_per_mph = 0.44704;  // exact: 1609.344 m in 3600 s

struct Quantity {
  double value = 0;
  double standard_uncertainty = 0;  // same unit
};
// k of every expanded uncertainty of a speed, or of a length that a speed comes from.
inline constexpr double speed_coverage = 2;

// Expanded uncertainty of what is known of a tyre, where nothing else is said. A free diameter says
// little of how far the loaded tyre rolls; a rolled-out distance is as good as tape and mark.
// Common practice, no published source.
inline constexpr double usual_diameter_share = 0.01;
inline constexpr double usual_circumference_share = 0.005;
inline constexpr double usual_rollout_m = 0.010;

// A tyre's rolling circumference in metres.
struct Tyre {
  Quantity circumference_m;
  // Rolling out `turns` turns divides the tape's uncertainty by `turns`.
  static Tyre rolled_out(Quantity distance_m, double turns);
  // A loaded tyre rolls less than pi times its diameter; 1 takes the diameter
  // as given, 3.05/pi is the ETRTO figure for a radial (from memory).
  static Tyre of_diameter(Quantity diameter_m, double rolling_factor = 1);
};

struct Gearing {
  double gear = 1;
  double final_drive = 1;
  double ratio() const { return gear * final_drive; }
};

Quantity rpm_at_speed(Quantity speed_m_per_s, const Gearing& gearing, const Tyre& tyre);
Quantity speed_at_rpm(Quantity rpm, const Gearing& gearing, const Tyre& tyre);  // m/s

}  // namespace tachproof

// From a speed limit, gearing and tyre to an rpm, and back, with the
// uncertainty that each input carries.
//
//     v = rpm / 60 / ratio * circumference,  ratio = gear * final drive.
#pragma once

namespace tachproof {

struct Quantity {
  double value = 0;
  double standard_uncertainty = 0;  // same unit
};

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

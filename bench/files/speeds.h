// The speeds of a gauge file: its `drive`, and anchors and boundaries that are said as speeds.
//
//     drive: {gear: 2.05, final_drive: 3.1, tyre_circumference: 1.98m}
//         one of tyre_circumference: LENGTH, tyre_diameter: LENGTH (optional rolling_factor: N, the
//         share of pi times the diameter that a loaded tyre rolls) and rollout: LENGTH/TURNS;
//         optional tyre_uncertainty: LENGTH, expanded (k = 2), of the length that is given
//     resolution_rpm: 1     the unit is set in steps of so many rpm; 1 where a speed is used
//
// A speed is 60km/h, 45mph or 20m/s, a length 1.98m, 198cm, 1980mm, 25in or 6.5ft. In quotes too:
// so JSON writes what YAML writes without. An rpm that comes from a speed is rounded down to what
// the unit can be set to.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "bench/files/yaml_walk.h"
#include "core/gauge/drive.h"

namespace tachproof {

std::optional<Speed> speed_in(std::string_view text);
std::optional<Speed> plain_speed(const YamlNode& node);

Drive read_drive(const YamlNode& node, ErrorList& errors);

// Reads what may be an rpm or, in a gauge with a drive, a speed.
class RpmReader {
 public:
  explicit RpmReader(ErrorList& errors) : errors_(errors) {}
  // Before any rpm: `drive` and `resolution_rpm` of the gauge.
  void read_settings(Mapping& gauge);

  // False when it is neither, with an error unless the drive has one already. `label` is what it is called
  // in the error; `or_else` what else may stand there.
  bool read(const YamlNode& node, const std::string& label, const Range& range, double& rpm,
            std::optional<Speed>& speed, const std::string& or_else = "");

  const std::optional<Drive>& drive() const { return drive_; }
  // As said, or 1 where a speed was used; 0 where neither.
  double resolution_rpm() const;

 private:
  bool from_speed(const YamlNode& node, const Range& range, const std::string& label, const Speed& speed,
                  double& rpm);

  ErrorList& errors_;
  std::optional<Drive> drive_;
  std::optional<double> resolution_rpm_;
  bool wrong_ = false;
  bool speed_used_ = false;
};

}  // namespace tachproof

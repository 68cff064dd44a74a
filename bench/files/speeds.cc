#include "bench/files/speeds.h"

#include <cmath>

#include "core/base/parse.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr double longest_m = 100;
constexpr Range ratio_range{0, 100, true};
constexpr Range resolution_range{0, 1000, true};
const std::string speed_rule = "a speed such as 60km/h, 45mph or 20m/s";
const std::string length_rule = "a length above 0, such as 1.98m, 635mm, 25in or 6.5ft, at most 100m";
const std::string drive_rule =
    "a 'drive' in this gauge, which says what rpm that is: drive: {gear: 2.05, final_drive: 3.1, "
    "tyre_circumference: 1.98m}";

std::optional<double> metres_in(std::string_view text) {
  const std::optional<WithUnit> found = number_and_unit(text);
  const std::optional<double> unit = found ? metres_of(found->unit) : std::nullopt;
  if (!unit || !(found->value > 0) || !(found->value * *unit <= longest_m)) return std::nullopt;
  return found->value * *unit;
}

// The keys of a tyre, each kept as it was written.
class TyreReader {
 public:
  TyreReader(Mapping& m, ErrorList& errors, Drive& drive) : m_(m), errors_(errors), drive_(drive) {}

  void read() {
    const std::string by = way();
    const auto circumference = length("tyre_circumference");
    const auto diameter = length("tyre_diameter");
    double factor = 1;
    if (m_.number("rolling_factor", factor, {0, 2, true}, Need::may) && by != "tyre_diameter")
      errors_.add(m_.place("rolling_factor"), "'rolling_factor' without 'tyre_diameter'", "both or neither");
    const auto rollout = rolled();
    const auto uncertainty = length("tyre_uncertainty");
    if (m_.has("rolling_factor")) written("rolling_factor");
    const auto with = [&](double value, double usual) {
      if (uncertainty && *uncertainty >= value)
        errors_.add(m_.place("tyre_uncertainty"), "'tyre_uncertainty' no smaller than the length itself",
                    "the expanded uncertainty (k = 2) of '" + by + "'");
      return Quantity{value, uncertainty.value_or(usual) / speed_coverage};
    };
    if (by == "tyre_circumference" && circumference)
      drive_.tyre = {with(*circumference, *circumference * usual_circumference_share)};
    if (by == "tyre_diameter" && diameter)
      drive_.tyre = Tyre::of_diameter(with(*diameter, *diameter * usual_diameter_share), factor);
    if (by == "rollout" && rollout)
      drive_.tyre = Tyre::rolled_out(with(rollout->metres, usual_rollout_m), rollout->turns);
  }

 private:
  struct Rollout {
    double metres = 0, turns = 0;
  };

  // Which of the three keys says how far the tyre rolls.
  std::string way() {
    std::vector<std::string> there;
    for (const char* key : {"tyre_circumference", "tyre_diameter", "rollout"})
      if (m_.has(key)) there.emplace_back(key);
    if (there.size() == 1) return there.front();
    errors_.add(there.empty() ? m_.at() : m_.place(there.back()),
                there.empty() ? "a drive without a tyre" : "a drive with " + joined(there),
                "one of tyre_circumference, tyre_diameter and rollout");
    return "";
  }

  void written(const char* key) { drive_.tyre_written.emplace_back(key, m_.find(key)->text); }

  std::optional<double> length(const char* key) {
    const YamlNode* node = m_.any(key, Need::may);
    if (node == nullptr) return std::nullopt;
    const std::optional<double> metres =
        node->kind == YamlNode::Kind::scalar ? metres_in(node->text) : std::nullopt;
    if (metres)
      written(key);
    else
      errors_.add(node->at, "'" + std::string(key) + "' is " + found_text(*node), length_rule);
    return metres;
  }

  std::optional<Rollout> rolled() {
    const YamlNode* node = m_.any("rollout", Need::may);
    if (node == nullptr) return std::nullopt;
    const std::size_t slash = node->text.find('/');
    if (node->kind == YamlNode::Kind::scalar && slash != std::string::npos) {
      const auto metres = metres_in(std::string_view(node->text).substr(0, slash));
      const auto turns = parse_number<double>(std::string_view(node->text).substr(slash + 1));
      if (metres && turns && *turns > 0 && *turns <= 1000) {
        written("rollout");
        return Rollout{*metres, *turns};
      }
    }
    errors_.add(node->at, "'rollout' is " + found_text(*node),
                "a length and the turns of the wheel that it took, such as 10.1m/5");
    return std::nullopt;
  }

  Mapping& m_;
  ErrorList& errors_;
  Drive& drive_;
};

}  // namespace

std::optional<Speed> speed_in(std::string_view text) {
  const std::optional<WithUnit> found = number_and_unit(text);
  const std::optional<SpeedUnit> unit = found ? speed_unit_named(found->unit) : std::nullopt;
  if (!unit) return std::nullopt;
  return Speed{found->value * m_per_s_of(*unit), *unit, std::string(text)};
}

std::optional<Speed> plain_speed(const YamlNode& node) {
  return node.kind == YamlNode::Kind::scalar ? speed_in(node.text) : std::nullopt;
}

Drive read_drive(const YamlNode& node, ErrorList& errors) {
  Drive drive;
  Mapping m(node, errors, "a drive");
  m.number("gear", drive.gearing.gear, ratio_range, Need::must);
  m.number("final_drive", drive.gearing.final_drive, ratio_range, Need::must);
  if (m.sound()) TyreReader(m, errors, drive).read();
  m.finish();
  return drive;
}

void RpmReader::read_settings(Mapping& gauge) {
  const std::size_t before = errors_.values();
  if (const YamlNode* node = gauge.any("drive", Need::may)) drive_ = read_drive(*node, errors_);
  gauge.number("resolution_rpm", resolution_rpm_, resolution_range, Need::may);
  wrong_ = errors_.values() != before;
}

double RpmReader::resolution_rpm() const { return resolution_rpm_.value_or(speed_used_ ? 1 : 0); }

bool RpmReader::read(const YamlNode& node, const std::string& label, const Range& range, double& rpm,
                     std::optional<Speed>& speed, const std::string& or_else) {
  if (const std::optional<Speed> said = plain_speed(node)) {
    if (!from_speed(node, range, label, *said, rpm)) return false;
    speed = said;
    return true;
  }
  const std::optional<double> number = plain_number(node);
  if (!number || !range.holds(*number)) {
    errors_.add(node.at, label + " is " + found_text(node),
                range.words() + (drive_ ? ", or " + speed_rule : "") + or_else);
    return false;
  }
  if (resolution_rpm_) {
    const double steps = *number / *resolution_rpm_;
    if (std::fabs(steps - std::round(steps)) > 1e-6) {
      errors_.add(node.at, label + " is " + found_text(node),
                  "a multiple of " + number_text(*resolution_rpm_) +
                      " rpm: resolution_rpm says that the unit can be set to no other");
      return false;
    }
  }
  rpm = *number;
  return true;
}

bool RpmReader::from_speed(const YamlNode& node, const Range& range, const std::string& label,
                           const Speed& speed, double& rpm) {
  if (wrong_) return false;
  if (!drive_) {
    errors_.add(node.at, label + " is " + found_text(node), drive_rule);
    return false;
  }
  if (!speed_used_) drive_->said_in = speed.unit;  // the first that is met speaks for the file
  speed_used_ = true;
  const double set = set_rpm(speed.m_per_s, *drive_, resolution_rpm());
  if (!range.holds(set)) {
    errors_.add(node.at, label + " is " + found_text(node) + ", which is " + number_text(set) + " rpm",
                range.words());
    return false;
  }
  rpm = set;
  return true;
}

}  // namespace tachproof

#include "core/gauge/speed.h"

#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <optional>

#include "bench/commands/command.h"
#include "bench/commands/units.h"
#include "bench/record/json_values.h"

namespace tachproof {

namespace {

constexpr double coverage = speed_coverage;
constexpr double default_gauge_rpm = 3;

double at_least(double lowest, bool or_equal, double value, const std::string& option, const char* allowed) {
  if (value > lowest || (or_equal && value == lowest)) return value;
  throw UsageError(option + " must be " + allowed);
}

double positive(double value, const std::string& option) {
  return at_least(0, false, value, option, "above 0");
}
double not_negative(double value, const std::string& option) {
  return at_least(0, true, value, option, "0 or more");
}

class SpeedCommand : public Command {
 public:
  CommandHelp help() const override {
    return {"speed",
            "speed, gearing and tyre to rpm, and back",
            "(--limit SPEED [--margin SPEED] | --rpm RPM) --gear RATIO --final-drive RATIO (--tyre-diameter "
            "LENGTH | --tyre-circumference LENGTH | --rollout LENGTH/TURNS) [--rolling-factor F] "
            "[--tyre-uncertainty LENGTH] [--gauge-uncertainty RPM] [--json]",
            "Finds the rpm at which the car drives at a speed limit, for an anchor in a gauge file. The "
            "anchor is rounded down to a whole rpm, so that the limit itself is not exceeded. With --rpm it "
            "answers the opposite question: how fast is that?\n\n"
            "Speeds are in km/h, mph or m/s; lengths in mm, cm, m, in or ft. All uncertainties are expanded, "
            "k = 2 (about 95 %), and combined by the GUM.",
            "0  done\n2  bad usage",
            {"tachproof speed --limit 60km/h --margin 2km/h --gear 1.54 --final-drive 3.9 --rollout 10.1m/5",
             "tachproof speed --rpm 3720 --gear 1.54 --final-drive 3.9 --tyre-diameter 25in --json"}};
  }

  void declare(Arguments& arguments) override {
    arguments.option(limit_, "--limit", "SPEED", "The limit: 60km/h, 45mph or 20m/s.");
    arguments.option(margin_, "--margin", "SPEED", "Speed to stay below the limit by; default 0km/h.");
    arguments.option(rpm_, "--rpm", "RPM", "In place of --limit: find the speed at this rpm.");
    arguments.required(gear_, "--gear", "RATIO", "The gear's ratio: engine turns per shaft turn.");
    arguments.required(final_drive_, "--final-drive", "RATIO", "The final drive's ratio.");
    arguments.option(diameter_, "--tyre-diameter", "LENGTH", "The tyre's diameter: 25in, 0.63m or 635mm.");
    arguments.option(circumference_, "--tyre-circumference", "LENGTH", "How far it rolls in one turn: 2.0m.");
    arguments.option(rollout_, "--rollout", "LENGTH/TURNS",
                     "How far the car was pushed, and for how many turns of the wheel: 10.1m/5.");
    arguments.option(rolling_factor_, "--rolling-factor", "F",
                     "With --tyre-diameter: a loaded tyre rolls this share of pi times its diameter; default "
                     "1, the diameter as given.");
    arguments.option(
        tyre_uncertainty_, "--tyre-uncertainty", "LENGTH",
        "Expanded uncertainty of the length that was given. Default: 1 % of a diameter, 0.5 % of "
        "a circumference, 10 mm of a rollout.");
    arguments.option(gauge_uncertainty_, "--gauge-uncertainty", "RPM",
                     "Expanded uncertainty of the rpm that the gauge acts at; default 3rpm.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    if (limit_.empty() == rpm_.empty()) throw UsageError("give either --limit or --rpm");
    if (!margin_.empty() && limit_.empty()) throw UsageError("--margin goes with --limit");
    const Gearing gearing{positive(plain_number("--gear", gear_), "--gear"),
                          positive(plain_number("--final-drive", final_drive_), "--final-drive")};
    const Tyre tyre = this->tyre();
    const double gauge_u =
        (gauge_uncertainty_.empty()
             ? default_gauge_rpm
             : not_negative(rpm_value("--gauge-uncertainty", gauge_uncertainty_), "--gauge-uncertainty")) /
        coverage;
    const Quantity rpm = this->rpm(gearing, tyre, gauge_u);
    const double anchor = std::floor(rpm.value + 1e-6);  // 3720 is 3720, whatever the last bit says
    if (!limit_.empty() && anchor < 1) throw UsageError("--limit is below 1 rpm with this gearing");
    json_ ? print_json(rpm, anchor, gearing, tyre, gauge_u) : print(rpm, anchor, gearing, tyre, gauge_u);
    return exit_pass;
  }

 private:
  Quantity with_uncertainty(double value, const std::string& option, double default_expanded) const {
    positive(value, option);
    const double expanded =
        tyre_uncertainty_.empty()
            ? default_expanded
            : not_negative(length_m("--tyre-uncertainty", tyre_uncertainty_), "--tyre-uncertainty");
    if (expanded >= value) throw UsageError("--tyre-uncertainty must be smaller than " + option);
    return {value, expanded / coverage};
  }

  Tyre tyre() const {
    if (!diameter_.empty() + !circumference_.empty() + !rollout_.empty() != 1)
      throw UsageError("give one of --tyre-diameter, --tyre-circumference and --rollout");
    if (!rolling_factor_.empty() && diameter_.empty())
      throw UsageError("--rolling-factor goes with --tyre-diameter");
    if (!diameter_.empty()) {
      const double d = length_m("--tyre-diameter", diameter_);
      const double factor =
          rolling_factor_.empty()
              ? 1
              : positive(plain_number("--rolling-factor", rolling_factor_), "--rolling-factor");
      return Tyre::of_diameter(with_uncertainty(d, "--tyre-diameter", d * usual_diameter_share), factor);
    }
    if (!circumference_.empty()) {
      const double c = length_m("--tyre-circumference", circumference_);
      return {with_uncertainty(c, "--tyre-circumference", c * usual_circumference_share)};
    }
    const std::size_t slash = rollout_.find('/');
    if (slash == std::string::npos)
      throw UsageError("--rollout is '" + rollout_ + "'; allowed is a length and turns, such as 10.1m/5");
    const double turns =
        positive(plain_number("--rollout's turns", rollout_.substr(slash + 1)), "--rollout's turns");
    const double distance = length_m("--rollout", rollout_.substr(0, slash));
    return Tyre::rolled_out(with_uncertainty(distance, "--rollout", usual_rollout_m), turns);
  }

  double limit_m_per_s() const { return positive(speed_m_per_s("--limit", limit_), "--limit"); }
  double margin_m_per_s() const {
    return margin_.empty() ? 0 : not_negative(speed_m_per_s("--margin", margin_), "--margin");
  }

  Quantity rpm(const Gearing& gearing, const Tyre& tyre, double gauge_u) const {
    if (limit_.empty()) return {positive(rpm_value("--rpm", rpm_), "--rpm"), gauge_u};
    const double target = limit_m_per_s() - margin_m_per_s();
    if (target <= 0) throw UsageError("--margin must be smaller than --limit");
    const Quantity found = rpm_at_speed({target, 0}, gearing, tyre);
    return {found.value, std::hypot(found.standard_uncertainty, gauge_u)};
  }

  // The speed with all that is uncertain about it: the tyre's roll and where
  // the gauge acts.
  static Quantity speed(double rpm, double gauge_u, const Gearing& gearing, const Tyre& tyre) {
    return speed_at_rpm({rpm, gauge_u}, gearing, tyre);
  }

  void print_json(const Quantity& rpm, double anchor, const Gearing& gearing, const Tyre& tyre,
                  double gauge_u) const {
    const Quantity v = speed(rpm.value, gauge_u, gearing, tyre);
    nlohmann::ordered_json out;
    out["rpm"] = rpm.value;
    out["expanded_uncertainty_rpm"] = coverage * rpm.standard_uncertainty;
    out["speed_kmh"] = v.value / m_per_s_per_kmh;
    out["speed_expanded_uncertainty_kmh"] = coverage * v.standard_uncertainty / m_per_s_per_kmh;
    if (!limit_.empty()) {
      out["anchor_rpm"] = anchor;
      out["limit_kmh"] = limit_m_per_s() / m_per_s_per_kmh;
      out["margin_kmh"] = margin_m_per_s() / m_per_s_per_kmh;
    }
    out["tyre_circumference_m"] = tyre.circumference_m.value;
    out["coverage_factor"] = coverage;
    std::puts(json_text(out, 2).c_str());
  }

  void print(const Quantity& rpm, double anchor, const Gearing& gearing, const Tyre& tyre,
             double gauge_u) const {
    const double rpm_u = coverage * rpm.standard_uncertainty;
    if (limit_.empty()) {
      std::printf("At %.10g rpm the car does\n", rpm.value);
    } else {
      std::printf("Set the anchor to %.0f rpm\n", anchor);
      std::printf("  exactly %.2f rpm, +-%.2f rpm (k = 2)\n", rpm.value, rpm_u);
      if (anchor > rpm_u)
        std::printf("  %.0f rpm keeps the limit even with the uncertainty against you\n",
                    std::floor(rpm.value - rpm_u));
      std::printf("At %.0f rpm the car does\n", anchor);
    }
    const Quantity v = speed(limit_.empty() ? rpm.value : anchor, gauge_u, gearing, tyre);
    const double u = coverage * v.standard_uncertainty;
    std::printf("  %8.3f km/h  +-%.3f\n", v.value / m_per_s_per_kmh, u / m_per_s_per_kmh);
    std::printf("  %8.3f mph   +-%.3f\n", v.value / m_per_s_per_mph, u / m_per_s_per_mph);
    std::printf("  %8.3f m/s   +-%.3f\n", v.value, u);
    std::printf("Tyre rolls %.4f m a turn, +-%.4f m; one turn takes %.4f turns of the engine\n",
                tyre.circumference_m.value, coverage * tyre.circumference_m.standard_uncertainty,
                gearing.ratio());
    std::printf("Gauge acts within +-%.10g rpm (all +- with k = 2, about 95 %%)\n", coverage * gauge_u);
  }

  std::string limit_, margin_, rpm_, gear_, final_drive_;
  std::string diameter_, circumference_, rollout_, rolling_factor_;
  std::string tyre_uncertainty_, gauge_uncertainty_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_speed_command() { return std::make_unique<SpeedCommand>(); }

}  // namespace tachproof

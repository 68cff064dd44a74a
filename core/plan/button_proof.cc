#include "core/plan/button_proof.h"

#include <algorithm>
#include <cmath>

#include "core/base/rpm.h"
#include "core/judge/power_watch.h"
#include "core/judge/unit_state.h"

namespace tachproof {
namespace {

constexpr Nanos pressed_for = 200 * ns_per_ms;
constexpr double quick = 2000;     // rpm per second, where nothing is measured
constexpr double second_rate = 4;  // the second rate of the ramps that measure

class ButtonProof {
 public:
  ButtonProof(const Gauge& gauge, const ProofShape& shape)
      : gauge_(gauge),
        shape_(shape),
        now_(gauge),
        rate_(*std::min_element(shape.rate_rpm_per_s.begin() + 1, shape.rate_rpm_per_s.end())),
        // A press counts what the unit averaged before it.
        still_(gauge.tolerance.response_to + 500 * ns_per_ms),
        answers_(answered_by(gauge, 0) + 500 * ns_per_ms) {}

  std::vector<ProofPart> all() {
    for (const Button& button : gauge_.buttons)
      if (const auto* take = std::get_if<TakeRpm>(&button.does)) takes(button.name, *take);
    for (const Button& button : gauge_.buttons)
      if (const auto* dim = std::get_if<Dim>(&button.does)) dims(button.name, *dim);
    if (gauge_.power_up) power();
    if (gauge_.supply) voltages();
    for (const Button& button : gauge_.buttons)
      if (std::holds_alternative<ShowPeak>(button.does)) peak(button.name);
    return std::move(parts_);
  }

 private:
  void add(std::string about, std::vector<Step> steps) {
    parts_.push_back({std::move(about), std::move(steps)});
  }

  std::vector<Step> press_at(double rpm, const std::string& button) const {
    return {RampByRate{rpm, quick}, Hold{rpm, still_}, Press{button, pressed_for}, Hold{rpm, answers_}};
  }

  // Across the boundaries that the button moves, and back, at two rates.
  void cross(const TakeRpm& take) {
    double low = max_rpm, high = 0;
    for (const std::size_t b : StateFollower::moved_by(now_, take)) {
      low = std::min(low, now_.falling_rpm(b));
      high = std::max(high, now_.rising_rpm(b));
    }
    const double margin = 4 * gauge_.tolerance.rpm + 20;
    low = hundredths(std::max(low - margin, 100.0));
    high = hundredths(high + margin);
    std::vector<Step> steps{RampByRate{low, quick}, Hold{low, still_}};
    for (const double rate : {rate_, second_rate * rate_})
      for (int i = 0; i < 2; ++i)
        steps.insert(steps.end(), {RampByRate{high, hundredths(rate)}, Hold{high, still_},
                                   RampByRate{low, hundredths(rate)}, Hold{low, still_}});
    add("across the boundaries that the button moves: what the unit has made of the press", std::move(steps));
  }

  // Far from where the boundary is, so that a take and no take differ.
  void takes(const std::string& name, const TakeRpm& take) {
    const double at = gauge_.windows[take.boundary].from_rpm;
    const double lower = take.lowest_rpm + 20, upper = take.highest_rpm - 20;
    const double rpm = std::round(at - lower > upper - at ? lower : upper);
    add("takes the rpm", press_at(rpm, name));
    now_ = with_boundary_at(gauge_, take.boundary, rpm);
    cross(take);
    const double above = take.highest_rpm + 200;
    if (above > max_rpm - 200) return;
    add("outside what the button takes: nothing may change", press_at(std::round(above), name));
    cross(take);
  }

  // The middle of the widest window that lights a lamp without blinking, the highest left out.
  double lit_rpm() const {
    double widest = 0, rpm = 0;
    for (std::size_t w = 0; w + 1 < now_.windows.size(); ++w) {
      const Cue& cue = now_.windows[w].cue;
      const double low = now_.windows[w].from_rpm, high = now_.windows[w + 1].from_rpm - gauge_.deadband.rpm;
      if (cue.steady == 0 || cue.blinking != 0 || high - low <= widest) continue;
      widest = high - low;
      rpm = std::round((low + high) / 2);
    }
    return rpm;
  }

  void dims(const std::string& name, const Dim& dim) {
    const double rpm = lit_rpm();
    std::vector<Step> steps{RampByRate{rpm, quick}, Hold{rpm, still_}};
    for (std::size_t i = 0; i < dim.levels.size(); ++i) {
      steps.push_back(Press{name, pressed_for});
      steps.push_back(Hold{rpm, answers_ + ns_per_s});
    }
    add("every level of dimming, and the first again", std::move(steps));
  }

  void power() {
    const double rpm = lit_rpm();
    add("the supply is cut: the unit wakes, greets and has kept what it must",
        {RampByRate{rpm, quick}, Hold{rpm, still_}, PowerOff{2 * ns_per_s},
         Hold{rpm, answered_by(gauge_, PowerWatch::awake_by(gauge_, 0)) + ns_per_s}});
    const Gauge taken = now_;
    now_ = gauge_;
    for (const Button& button : gauge_.buttons)
      if (const auto* take = std::get_if<TakeRpm>(&button.does)) {
        if (keeps(*gauge_.power_up, button.name)) now_ = taken;
        cross(*take);
      }
  }

  // All that the settings say, at another voltage.
  void all_again(const std::string& about, const Supply& supply) {
    std::vector<Step> steps{RampByRate{hundredths(now_.falling_rpm(1) / 2), quick}, supply};
    const std::vector<Step> proof = steps_of(proof_parts(now_, shape_));
    steps.insert(steps.end(), proof.begin(), proof.end());
    add(about, std::move(steps));
  }

  // At both ends of what the unit may be fed, and back from a dip far outside of it.
  void voltages() {
    const double lowest = gauge_.supply->lowest_v, highest = gauge_.supply->highest_v;
    const double usual = hundredths((lowest + highest) / 2), low = hundredths(lowest / 2);
    const Nanos slowly = 2 * ns_per_s;
    all_again("fed as little as it may be: all boundaries stay where they are", {usual, lowest, slowly});
    all_again("fed as much as it may be: all boundaries stay where they are", {lowest, highest, slowly});
    const double rpm = lit_rpm();
    const Nanos awake = answered_by(gauge_, PowerWatch::awake_by(gauge_, 0));
    add("the supply dips: the unit may go dark, and comes back",
        {RampByRate{rpm, quick}, Hold{rpm, still_}, Supply{low, low, ns_per_s},
         Supply{highest, highest, awake + ns_per_s}});
    for (const Button& button : gauge_.buttons)
      if (const auto* take = std::get_if<TakeRpm>(&button.does)) cross(*take);
    add("fed as usual",
        {RampByRate{hundredths(now_.falling_rpm(1) / 2), quick}, Supply{highest, usual, slowly}});
  }

  void peak(const std::string& name) {
    Ask ask;
    ask.wants = Ask::Wants::peak;
    ask.within = 10;
    const double rpm = std::round(std::max(now_.falling_rpm(1) / 2, 500.0));
    ask.question = "Highest rpm shown on the dial?";
    std::vector<Step> steps{RampByRate{rpm, quick},    Hold{rpm, still_},          ask,
                            Press{name, pressed_for},  Hold{rpm, 500 * ns_per_ms}, Press{name, pressed_for},
                            Hold{rpm, 500 * ns_per_ms}};
    ask.question = "Highest rpm shown on the dial after it was cleared?";
    steps.emplace_back(ask);
    add("the highest rpm, cleared and asked for again", std::move(steps));
  }

  const Gauge& gauge_;
  const ProofShape& shape_;
  Gauge now_;
  double rate_;
  Nanos still_, answers_;
  std::vector<ProofPart> parts_;
};

}  // namespace

std::vector<ProofPart> button_parts(const Gauge& gauge, const ProofShape& shape) {
  if ((gauge.buttons.empty() && !gauge.power_up && !gauge.supply) || gauge.boundaries() == 0) return {};
  return ButtonProof(gauge, shape).all();
}

}  // namespace tachproof

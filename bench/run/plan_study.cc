#include "bench/run/plan_study.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <stdexcept>

#include "bench/files/step_text.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/run/escapes.h"
#include "core/base/words.h"
#include "core/plan/button_proof.h"

namespace tachproof {
namespace {

// Of the tolerance: a unit that is so far off, and decided, leaves as much for U.
constexpr double decided_share = 0.5;
constexpr int fewest_blinks = 3;
constexpr Nanos least_rest = 20 * ns_per_ms;

class Planner {
 public:
  Planner(const Gauge& gauge, const PlanAsk& ask)
      : gauge_(without_buttons(gauge)), asked_(gauge), ask_(ask), list_(fault_list(gauge_)) {
    sound_ = {ask.rig.behaviour};
    // One that answers late, and one that neither rounds nor waits for its updates.
    Behaviour late = ask.rig.behaviour, exact = ask.rig.behaviour;
    const UnitSettings usual = healthy_settings(gauge, late);
    late.response_ms = to_ms(usual.response) + 0.4 * to_ms(spare(usual));
    exact.update_hz = 0;
    exact.resolution_rpm = 0;
    sound_.push_back(late);
    sound_.push_back(exact);
  }

  Plan plan() {
    Plan plan;
    ProofShape shape = careful(plan);
    plan.careful_lasts = trials_of(shape).scenario().profile.duration();
    if (plan.sound_units_pass) shorten(shape);
    plan.trials = trials_;
    plan.parts = proof_parts(gauge_, shape);
    plan.scenario = scenario_of(shape);
    // What buttons do is shown after all else, as carefully as it takes.
    for (ProofPart& part : button_parts(asked_, shape)) plan.parts.push_back(std::move(part));
    plan.scenario.profile = Profile(steps_of(plan.parts));
    GradeAsk grading;
    grading.scenarios = {plan.scenario};
    grading.rig = ask_.rig;
    grading.sizes = false;
    grading.threads = ask_.threads;
    grading.between = ask_.between;
    plan.grade = grade(asked_, grading);
    return plan;
  }

 private:
  static Gauge without_buttons(Gauge gauge) {
    gauge.buttons.clear();
    gauge.power_up.reset();
    return gauge;
  }

  // What a unit may be later by, beyond what it is.
  Nanos spare(const UnitSettings& unit) const {
    const double period_s = 60 / (gauge_.pulses_per_rev * std::max(gauge_.falling_rpm(1), 1.0));
    const double own_s = to_seconds(unit.response) + (unit.update_hz > 0 ? 1 / unit.update_hz : 0) +
                         to_seconds(unit.averaging) +
                         static_cast<double>(unit.averaging_pulses + 1) * period_s;
    return std::max<Nanos>(0, gauge_.tolerance.response_to - from_seconds(own_s));
  }

  TrialScenario scenario_of(const ProofShape& shape) const {
    TrialScenario scenario;
    scenario.name = "plan";
    scenario.profile = Profile(steps_of(proof_parts(gauge_, shape)));
    scenario.seed = 1;
    scenario.what.within_rpm = ask_.within_rpm;
    return scenario;
  }
  FaultTrials trials_of(const ProofShape& shape) const { return {gauge_, scenario_of(shape), ask_.rig}; }

  // Nothing: all sound units pass, with room left in every threshold's tolerance.
  std::string sound_units_fail(const FaultTrials& trials) const {
    for (const Behaviour& behaviour : sound_) {
      const RunResult result = trials.healthy(behaviour);
      if (result.verdict != Verdict::pass) return why_undecided(result);
      for (const BoundaryResult& row : result.boundaries)
        if (!(row.expanded_uncertainty_rpm <= decided_share * gauge_.tolerance.rpm) && !row.between_rpm)
          return fmt::format("boundary {} {} is known only to {:.1f} rpm", row.boundary, word(row.direction),
                             row.expanded_uncertainty_rpm);
    }
    return "";
  }

  ProofShape patient_shape(double share, int passes, int jumps, int blinks) const {
    ProofShape shape = proof_shape(gauge_, share);
    shape.passes = passes;
    shape.jumps = jumps;
    shape.blinks = blinks;
    return shape;
  }

  // The quickest of some careful shapes at which sound units pass and the fewest faults escape.
  ProofShape careful(Plan& plan) {
    ProofShape best;
    compare({proof_shape(gauge_, 0.5), proof_shape(gauge_, 0.3), patient_shape(0.15, 3, 8, 16),
             patient_shape(0.08, 3, 8, 16)},
            plan, best);
    // Few boundaries show little of a unit's scatter in a pass.
    if (!plan.sound_units_pass)
      compare({patient_shape(0.15, 6, 24, 32), patient_shape(0.05, 6, 24, 32)}, plan, best);
    return best;
  }

  // With each other, in this order, and with the best so far: what that one misses may be missed.
  void compare(const std::vector<ProofShape>& shapes, Plan& plan, ProofShape& best) {
    for (const ProofShape& shape : shapes) {
      const FaultTrials trials = trials_of(shape);
      const std::string why = sound_units_fail(trials);
      if (!why.empty() && plan.sound_units_pass) continue;  // no better, whatever it misses
      const std::vector<std::size_t> missed =
          not_caught(trials, list_, list_.faults.size(), {}, ask_.threads, ask_.between);
      const bool passes = why.empty();
      if (best.blinks == 0 || (passes && !plan.sound_units_pass) ||
          (passes == plan.sound_units_pass && missed.size() < allowed_.size())) {
        best = shape;
        allowed_ = missed;
        plan.why = why;
        plan.sound_units_pass = passes;
      }
      if (passes && missed.empty()) break;
    }
  }

  // As good as the careful one: what that misses may be missed.
  bool as_good(const ProofShape& shape) {
    if (trials_ >= ask_.most_trials) return false;
    ++trials_;
    const FaultTrials trials = trials_of(shape);
    if (!sound_units_fail(trials).empty()) return false;
    const std::vector<std::size_t> missed =
        not_caught(trials, list_, allowed_.size() + 1, suspects_, ask_.threads, ask_.between);
    for (const std::size_t index : missed) {
      if (std::find(allowed_.begin(), allowed_.end(), index) != allowed_.end()) continue;
      // Tried first from now on.
      std::erase(suspects_, index);
      suspects_.insert(suspects_.begin(), index);
      return false;
    }
    return true;
  }

  using Change = std::function<bool(ProofShape&)>;  // false: nothing left to shorten

  // Again and again, as long as it stays as good and gets shorter.
  void repeat(ProofShape& shape, const Change& change) {
    for (;;) {
      ProofShape shorter = shape;
      if (!change(shorter) || !as_good(shorter)) return;
      shape = std::move(shorter);
    }
  }

  static Change faster(double times, std::size_t from, std::size_t to) {
    return [=](ProofShape& s) {
      for (std::size_t b = from; b < to; ++b) s.rate_rpm_per_s[b] *= times;
      return s.rate_rpm_per_s[from] < 1e4;
    };
  }

  void shorten(ProofShape& shape) {
    const std::size_t n = gauge_.windows.size();
    repeat(shape, [](ProofShape& s) { return --s.passes >= 1; });
    repeat(shape, faster(2, 1, n));
    repeat(shape, faster(1.25, 1, n));
    repeat(shape, [](ProofShape& s) {
      s.blinks -= s.blinks > 5 ? 2 : 1;
      return s.blinks >= fewest_blinks;
    });
    repeat(shape, [](ProofShape& s) { return --s.jumps >= 1; });
    const Change shorter_rest = [](ProofShape& s) {
      s.rest = s.rest * 7 / 10;
      return s.rest >= least_rest;
    };
    repeat(shape, shorter_rest);
    repeat(shape, [](ProofShape& s) {
      s.jump_rest = s.jump_rest * 7 / 10;
      return s.jump_rest >= least_rest;
    });
    for (std::size_t b = 1; b < n; ++b) repeat(shape, faster(1.6, b, b + 1));
  }

  const Gauge gauge_;   // without buttons and power-up: the search is for the rest
  const Gauge& asked_;  // with them
  const PlanAsk& ask_;
  FaultList list_;
  std::vector<Behaviour> sound_;
  std::vector<std::size_t> allowed_;   // faults that may escape: the careful shape misses them
  std::vector<std::size_t> suspects_;  // that escaped a shorter one
  int trials_ = 0;
};

}  // namespace

Plan plan_scenario(const Gauge& gauge, const PlanAsk& ask) {
  if (gauge.boundaries() == 0)
    throw std::invalid_argument("the gauge has no boundary, so there is nothing to prove");
  return Planner(gauge, ask).plan();
}

std::string plan_yaml(const Plan& plan) {
  std::string text = fmt::format(
      "# Planned for the gauge '{}': a slow ramp across each boundary, both ways, and a rest in each\n"
      "# window. Of {} faults that a unit could have, simulated, it catches {}.\n"
      "format: 1\nkind: scenario\nname: plan\nseed: {}\nprofile:\n",
      plan.grade.gauge.name, plan.grade.faults.size(), plan.grade.count(Verdict::fail), plan.scenario.seed);
  for (const ProofPart& part : plan.parts) {
    text += fmt::format("  # {}\n", part.about);
    for (const Step& step : part.steps) text += "  - " + step_text(step) + "\n";
  }
  text += "judge: {transitions: true, steady: true, blink: true, thresholds: true";
  if (plan.scenario.what.within_rpm > 0)
    text += fmt::format(", within: {}", number_text(plan.scenario.what.within_rpm));
  return text + "}\n";
}

}  // namespace tachproof

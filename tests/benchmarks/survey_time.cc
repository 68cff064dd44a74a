// Bench seconds of a survey of the Drumlin gauge, beside a plain linear sweep
// that reaches the same uncertainty, and beside lower bounds. The derivation is
// in tests/benchmarks/SURVEY.md.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/run/survey_run.h"
#include "tests/bench/drumlin_run.h"

namespace {

using namespace tachproof;

constexpr double within_rpm = 1;
constexpr double update_s = 0.010;  // the demo unit's

Rig demo_rig(const Gauge& gauge, std::uint64_t seed) {
  Behaviour behaviour;
  behaviour.response_ms = 20;
  return simulated_rig(gauge, behaviour, gauge, seed);
}

struct Measured {
  double seconds = 0;
  double worst_u = 0;
  std::size_t rows = 0;
  Verdict verdict = Verdict::undecided;
};

Measured measured(const Gauge& gauge, const NextSteps& next, Rig& rig, const JudgeSetup& judge) {
  const SurveyEvidence evidence = play_survey(next, gauge.pulses_per_rev, rig, nullptr);
  const RunResult result = judge_evidence(gauge, judge, evidence, nullptr);
  Measured out{to_seconds(result.duration), 0, result.boundaries.size(), result.verdict};
  for (const BoundaryResult& row : result.boundaries)
    out.worst_u = std::max(out.worst_u, row.visits > 0 ? row.expanded_uncertainty_rpm : INFINITY);
  return out;
}

Measured survey(const Gauge& gauge, std::uint64_t seed, bool responses) {
  Rig rig = demo_rig(gauge, seed);
  SurveySetup setup = survey_setup_of(rig, within_rpm);
  setup.responses = responses;
  SurveyPlanner planner(gauge, setup);
  return measured(
      gauge, [&](const SurveyView& view) { return planner.next(view); }, rig, setup.judge);
}

// From below the first boundary to above the last and back, at one rate.
Measured sweep(const Gauge& gauge, double rate) {
  Rig rig = demo_rig(gauge, 1);
  const std::vector<Step> steps{Hold{3400, ns_per_s / 2}, RampByRate{8000, rate},
                                Hold{8000, 1370 * ns_per_ms}, RampByRate{3400, rate},
                                Hold{3400, ns_per_s / 2}};
  JudgeSetup judge = judge_setup_of(rig);
  judge.what = survey_asks(within_rpm);
  return measured(
      gauge, [&](const SurveyView& view) { return view.steps.empty() ? steps : std::vector<Step>{}; }, rig,
      judge);
}

// `rates_everywhere`: a second rate at every boundary, not at one.
double bound_s(const Gauge& gauge, bool rates_everywhere) {
  const double response_s = to_seconds(gauge.tolerance.response_to);
  double total = 3 / gauge.blink.value().hz;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    const double pulse_s = 60 / (gauge.pulses_per_rev * gauge.falling_rpm(b));
    const double spread_s = std::hypot(update_s, pulse_s) / std::sqrt(12.0);
    const double rate = within_rpm / 2 / spread_s;
    total += 2 * ((gauge.deadband.rpm + 2 * gauge.tolerance.rpm) / rate + response_s);
    if (rates_everywhere || b == 1) total += 2 * response_s;
  }
  return total;
}

// The mean time of many.
double surveys(const Gauge& gauge, bool responses) {
  constexpr std::uint64_t units = 200;
  double sum = 0, longest = 0, worst_u = 0;
  std::uint64_t passed = 0;
  for (std::uint64_t seed = 1; seed <= units; ++seed) {
    const Measured one = survey(gauge, seed, responses);
    sum += one.seconds;
    longest = std::max(longest, one.seconds);
    worst_u = std::max(worst_u, one.worst_u);
    if (one.verdict == Verdict::pass) ++passed;
  }
  const double mean = sum / static_cast<double>(units);
  fmt::print("survey{}, {} update phases: {:.1f} s, longest {:.1f} s; largest U {:.2f} rpm; {} passed\n",
             responses ? " with --responses" : "", units, mean, longest, worst_u, passed);
  return mean;
}

}  // namespace

int main() {
  const Gauge gauge = drumlin::gauge();
  const double mean = surveys(gauge, false);
  surveys(gauge, true);

  double fine = 1, coarse = 60;  // rpm per second
  for (int i = 0; i < 12; ++i) {
    const double rate = (fine + coarse) / 2;
    (sweep(gauge, rate).worst_u <= within_rpm ? fine : coarse) = rate;
  }
  const Measured slow = sweep(gauge, fine);
  fmt::print("linear sweep at {:.1f} rpm/s, up and down: {:.0f} s; largest U {:.2f} rpm\n", fine,
             slow.seconds, slow.worst_u);
  fmt::print("lower bound, two rates at every boundary: {:.1f} s\n", bound_s(gauge, true));
  fmt::print("lower bound, two rates at one boundary:   {:.1f} s\n", bound_s(gauge, false));
  fmt::print("faster than the sweep by {:.0f}; {:.2f} and {:.2f} times the bounds\n", slow.seconds / mean,
             mean / bound_s(gauge, true), mean / bound_s(gauge, false));
}

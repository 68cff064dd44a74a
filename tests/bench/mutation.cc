#include "tests/bench/mutation.h"

#include <algorithm>
#include <cmath>

#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/run/survey_run.h"
#include "tests/bench/mutation_oracle.h"

namespace tachproof {
namespace {

constexpr double fast_ramp = 3000;  // rpm per second, between boundaries
constexpr int blinks = 8;

// Boundaries that are crossed in one go.
struct Group {
  double low = 0, high = 0;
  double rate = 0;
};

// Far enough on both sides that the change is demanded, and that the profile keeps its
// rate for every response that is allowed.
double margin(const Gauge& gauge, double rate) {
  return gauge.tolerance.rpm + 1 + rate * (1.1 * to_seconds(gauge.tolerance.response_to) + 0.01);
}

std::vector<Group> groups_at(const Gauge& gauge, double rate) {
  // Low down there is no room for a fast ramp.
  const double lowest = gauge.falling_rpm(1);
  rate = std::min(rate, 0.3 * lowest / (1.1 * to_seconds(gauge.tolerance.response_to) + 0.01));
  const double reach = margin(gauge, rate);
  std::vector<Group> groups;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    const double low = std::max(gauge.falling_rpm(b) - reach, 0.4 * lowest);
    const double high = std::min(gauge.rising_rpm(b) + reach, Profile::max_rpm);
    if (!groups.empty() && low < groups.back().high)
      groups.back().high = high;
    else
      groups.push_back({low, high, rate});
  }
  return groups;
}

double bottom_rpm(const Gauge& gauge) {
  const double lowest = gauge.falling_rpm(1);
  return std::min(lowest - gauge.tolerance.rpm - 2, std::max(0.85 * lowest, lowest - 300));
}

double top_rpm(const Gauge& gauge) {
  return std::min(gauge.rising_rpm(gauge.boundaries()) + 300 + margin(gauge, 12 * slowest_rate(gauge)),
                  Profile::max_rpm);
}

}  // namespace

double slowest_rate(const Gauge& gauge) {
  return gauge.tolerance.rpm / 2 / to_seconds(gauge.tolerance.response_to);
}

std::vector<Step> acceptance_steps(const Gauge& gauge) {
  const Nanos settled = gauge.tolerance.response_to + gauge.tolerance.settle + 100 * ns_per_ms;
  const double bottom = bottom_rpm(gauge), top = top_rpm(gauge);
  std::vector<Step> steps{Hold{bottom, ns_per_s + settled}};
  const auto rest = [&](double rpm, Nanos lasts) {
    steps.push_back(RampByRate{rpm, fast_ramp});
    steps.push_back(Hold{rpm, lasts});
  };
  for (const double times : {1.0, 2.0, 12.0}) {
    const std::vector<Group> groups = groups_at(gauge, times * slowest_rate(gauge));
    for (std::size_t i = 0; i < groups.size(); ++i) {
      steps.push_back(RampByRate{groups[i].low, fast_ramp});
      steps.push_back(RampByRate{groups[i].high, groups[i].rate});
      rest(i + 1 < groups.size() ? (groups[i].high + groups[i + 1].low) / 2 : top, settled);
    }
    for (std::size_t i = groups.size(); i-- > 0;) {
      steps.push_back(RampByRate{groups[i].high, fast_ramp});
      steps.push_back(RampByRate{groups[i].low, groups[i].rate});
      rest(i > 0 ? (groups[i].low + groups[i - 1].high) / 2 : bottom, settled);
    }
  }
  for (std::size_t w = 1; w < gauge.windows.size(); ++w) {
    const bool last = w == gauge.boundaries();
    const double from = gauge.rising_rpm(w), to = last ? top + (top - from) : gauge.falling_rpm(w + 1);
    if (to - from < 2 * gauge.tolerance.rpm + 2) continue;
    const Nanos blinking =
        gauge.windows[w].cue.blinking != 0 ? from_seconds(blinks / gauge.blink->hz) : 300 * ns_per_ms;
    rest((from + to) / 2, settled + blinking);
  }
  if (gauge.windows[0].cue.blinking != 0) rest(bottom, settled + from_seconds(blinks / gauge.blink->hz));
  for (int i = 0; i < 3; ++i)
    for (const double rpm : {bottom, top}) {
      steps.push_back(StepTo{rpm});
      steps.push_back(Hold{rpm, 2 * settled + 400 * ns_per_ms});
    }
  steps.push_back(StepTo{bottom});
  steps.push_back(Hold{bottom, 2 * settled + ns_per_s});
  return steps;
}

MutationPair mutation_pair(std::uint64_t seed, std::uint64_t number, std::vector<MutationPair>* alone) {
  std::uint64_t state = seed;
  Dice dice(split_mix(state), number);
  const bool healthy = dice.chance(0.2), shifted = dice.chance(0.6), surveyed = dice.chance(0.25);
  std::vector<std::string> kinds;
  for (int left = healthy ? 0 : dice.chance(0.3) ? 2 : 1; left > 0; --left)
    kinds.push_back(mutation_kinds()[dice.index(mutation_kinds().size())]);
  // What cannot be told is drawn again.
  for (;;) {
    MutationPair pair;
    pair.number = number;
    pair.gauge = pair.runs = random_gauge(dice);
    pair.surveyed = surveyed;
    if (dice.chance(0.1)) {
      pair.behaviour.dim = dice.between(0.2, 0.9);
      pair.behaviour.dim_hz = dice.log_between(150, 1000);
    }
    if (dice.chance(0.3)) pair.behaviour.update_hz = 0;
    if (dice.chance(0.3)) pair.behaviour.resolution_rpm = 0;
    if (dice.chance(0.5)) pair.behaviour.timer_hz = 1e9;
    if (healthy && shifted) shift_within_tolerance(pair, dice.between(0.5, 0.95), dice);
    const MutationPair healthy_one = pair;
    if (alone != nullptr) alone->clear();
    for (const std::string& kind : kinds) {
      if (alone != nullptr) {
        Dice same = dice;
        mutate(alone->emplace_back(healthy_one), kind, same);
      }
      mutate(pair, kind, dice);
    }
    if (pair.mutations.size() == kinds.size() &&
        truth_of(pair).truth == (healthy ? Truth::inside : Truth::outside))
      return pair;
  }
}

RunResult judge_pair(const MutationPair& pair) {
  Rig rig = simulated_rig(pair.runs, pair.behaviour, pair.gauge, pair.number);
  const double within = std::max(pair.gauge.tolerance.rpm / 3, 0.3);
  SurveySetup setup = survey_setup_of(rig, within);
  if (!pair.surveyed) setup.judge.what.within_rpm = 0;
  SurveyPlanner planner(pair.gauge, setup);
  const auto next = [&](const SurveyView& view) {
    if (pair.surveyed) return planner.next(view);
    return view.steps.empty() ? acceptance_steps(pair.gauge) : std::vector<Step>{};
  };
  const SurveyEvidence evidence = play_survey(next, pair.gauge.pulses_per_rev, rig, nullptr);
  return judge_evidence(pair.gauge, setup.judge, evidence, nullptr);
}

void MutationCounts::add(Verdict verdict, Verdict wrong_one) {
  ++pairs;
  if (verdict == wrong_one) ++wrong;
  if (verdict == Verdict::undecided) ++undecided;
}

void MutationCounts::add(const MutationCounts& more) {
  pairs += more.pairs;
  wrong += more.wrong;
  undecided += more.undecided;
}

}  // namespace tachproof

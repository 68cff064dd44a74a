// A whole run without files: gauge and profile to pulse train, simulated unit
// and judge.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "bench/rigs/simulated/simulated_unit.h"
#include "core/judge/judge.h"
#include "core/signal/profile.h"
#include "core/signal/pulse_train.h"

namespace tachproof::test {

// Crosses every boundary both ways, slowly and fast, holds in every window,
// and steps over all of them: what any gauge can be proven with.
inline std::vector<Step> proving_steps(const Gauge& gauge) {
  const double t = gauge.tolerance.rpm, slow = t / 2 / to_seconds(gauge.tolerance.response_to);
  const double top = gauge.windows.back().from_rpm + 300;
  std::vector<double> middles{gauge.rising_rpm(1) / 2};
  for (std::size_t b = 1; b < gauge.windows.size(); ++b)
    middles.push_back(b + 1 < gauge.windows.size() ? (gauge.rising_rpm(b) + gauge.falling_rpm(b + 1)) / 2
                                                   : top);
  const double margin = 4 * t + 2;
  std::vector<Step> steps{Hold{middles[0], ns_per_s}};
  for (const double rate : {slow, 2 * slow, 12 * slow}) {
    for (std::size_t b = 1; b < gauge.windows.size(); ++b) {
      steps.push_back(RampByRate{gauge.rising_rpm(b) - margin, 3000});
      steps.push_back(RampByRate{gauge.rising_rpm(b) + margin, rate});
      steps.push_back(RampByRate{middles[b], 3000});
      steps.push_back(Hold{middles[b], 500 * ns_per_ms});
    }
    for (std::size_t b = gauge.windows.size() - 1; b >= 1; --b) {
      steps.push_back(RampByRate{gauge.falling_rpm(b) + margin, 3000});
      steps.push_back(RampByRate{gauge.falling_rpm(b) - margin, rate});
      steps.push_back(RampByRate{middles[b - 1], 3000});
      steps.push_back(Hold{middles[b - 1], 500 * ns_per_ms});
    }
  }
  for (std::size_t w = 0; w < gauge.windows.size(); ++w)
    if (gauge.windows[w].cue.blinking != 0) {
      steps.push_back(RampByRate{middles[w], 3000});
      steps.push_back(Hold{middles[w], from_seconds(8 / gauge.blink->hz)});
    }
  for (int i = 0; i < 3; ++i) {
    steps.push_back(StepTo{middles[0]});
    steps.push_back(Hold{middles[0], 700 * ns_per_ms});
    steps.push_back(StepTo{top});
    steps.push_back(Hold{top, 700 * ns_per_ms});
  }
  steps.push_back(StepTo{middles[0]});
  steps.push_back(Hold{middles[0], ns_per_s});
  return steps;
}

// What `unit` does where `gauge` is what it should do.
inline RunResult judge_unit(const Gauge& gauge, const Gauge& unit_gauge, const Behaviour& behaviour,
                            const Profile& profile, std::uint64_t seed, bool thresholds = true) {
  JudgeSetup setup;
  setup.what.thresholds = thresholds;
  Judge judge(gauge, setup);
  for (const Segment& s : profile.segments()) judge.rpm(s);
  PulseTrain train(profile, gauge.pulses_per_rev);
  SimulatedUnit unit(unit_gauge, behaviour, gauge, seed);
  for (const Action& action : profile.actions()) unit.act(action);
  std::array<Nanos, 4096> block;
  std::vector<LampEvent> events;
  for (std::size_t n; (n = train.next(block)) > 0;) {
    events.clear();
    unit.run({block.data(), n}, block[n - 1], events);
    judge.lamps(events);
    judge.pulses(n);
  }
  events.clear();
  unit.run({}, profile.duration(), events);
  judge.lamps(events);
  return judge.finish(profile.duration());
}

// Verdict, findings and rows, for the message of a test that fails.
inline std::string told(const RunResult& result) {
  std::string all(word(result.verdict));
  for (const Finding& f : result.findings) all += "\n" + std::string(word(f.kind)) + ": " + f.message;
  for (const TransitionResult& t : result.transitions)
    if (t.verdict != Verdict::pass)
      all += "\n" + t.boundary + " " + std::string(word(t.direction)) + " at " +
             std::to_string(to_seconds(t.at)) + " " + std::string(word(t.verdict)) + " dev " +
             std::to_string(t.deviation_rpm) + " of " + std::to_string(t.lowest_rpm) + ".." +
             std::to_string(t.highest_rpm) + " U " + std::to_string(t.expanded_uncertainty_rpm) + " rate " +
             std::to_string(t.rate_rpm_per_s);
  for (const BoundaryResult& b : result.boundaries)
    all += "\n" + b.boundary + " " + std::string(word(b.direction)) + " " + std::string(word(b.verdict)) +
           " dev " + std::to_string(b.threshold_rpm - b.nominal_rpm) + " U " +
           std::to_string(b.expanded_uncertainty_rpm) + " response " + std::to_string(b.response_ms) + " " +
           b.remark;
  for (const BlinkResult& b : result.blinks)
    all += "\n" + b.lamp + " " + std::to_string(b.hz) + " Hz duty " + std::to_string(b.duty) + " " +
           std::string(word(b.verdict));
  return all;
}

}  // namespace tachproof::test

// Runs of a simulated unit whose supply changes, with the evidence for its causes.
#pragma once

#include <array>
#include <filesystem>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "core/cause/evidence_log.h"
#include "core/signal/pulse_train.h"

namespace tachproof::test {

inline std::filesystem::path shipped(const std::string& file) {
  return std::filesystem::path(TACHPROOF_SOURCE_DIR) / file;
}

inline const Gauge& fed_gauge() {
  static const Gauge gauge = load_gauge(shipped("fixtures/gauges/drumlin-buttons.yaml"));
  return gauge;
}

inline const Profile& fed_profile() {
  static const Profile profile(load_scenario(shipped("scenarios/supply.yaml")).steps);
  return profile;
}

struct FedPlay {
  RunResult result;
  EvidenceLog evidence;
};

inline void tell_all(LoggedJudge& judge, const Profile& profile) {
  std::size_t next = 0;
  for (const Segment& segment : profile.segments()) {
    const auto& actions = profile.actions();
    for (; next < actions.size() && actions[next].at <= segment.start.whole; ++next) {
      const Action& action = actions[next];
      if (const auto* off = std::get_if<PowerOff>(&action.what)) judge.power_off(action.at, off->lasts);
      if (const auto* press = std::get_if<Press>(&action.what))
        judge.pressed(press->action, action.at, press->lasts);
      if (const auto* supply = std::get_if<Supply>(&action.what)) judge.supplied(*supply, action.at);
    }
    judge.rpm(segment);
  }
}

// What a unit on such a profile shows.
inline std::vector<LampEvent> fed_lamps(const Behaviour& behaviour, const Profile& profile,
                                        std::uint64_t seed = 1) {
  const Gauge& gauge = fed_gauge();
  SimulatedUnit unit(gauge, behaviour, gauge, seed);
  for (const Action& action : profile.actions()) unit.act(action);
  PulseTrain train(profile, gauge.pulses_per_rev);
  std::array<Nanos, 4096> block{};
  std::vector<LampEvent> events;
  for (std::size_t n; (n = train.next(block)) > 0;) unit.run({block.data(), n}, block[n - 1], events);
  unit.run({}, profile.duration(), events);
  return events;
}

// `judged_by`: in place of the unit's own gauge.
inline FedPlay fed_play(Behaviour behaviour, const std::vector<FaultSetting>& faults, const Profile& profile,
                        const Gauge& judged_by = fed_gauge(), std::uint64_t seed = 1) {
  FedPlay play;
  LoggedJudge judge(judged_by, {}, &play.evidence);
  tell_all(judge, profile);
  behaviour.faults = faults;
  judge.lamps(fed_lamps(behaviour, profile, seed));
  play.result = judge.finish(profile.duration());
  return play;
}

inline Behaviour quick_unit() {
  Behaviour behaviour;
  behaviour.response_ms = 20;
  return behaviour;
}

inline FedPlay fed_play(const std::vector<FaultSetting>& faults, const Profile& profile = fed_profile()) {
  return fed_play(quick_unit(), faults, profile);
}

// All that a result says against a unit, or leaves open.
inline std::string told_of(const RunResult& result) {
  std::string text;
  for (const Finding& f : result.findings) text += std::string(word(f.kind)) + ": " + f.message + "\n";
  for (const PowerResult& p : result.powers)
    text += "power " + std::to_string(to_seconds(p.at)) + " s, " + std::to_string(p.lowest_v) +
            " V: " + std::string(word(p.verdict)) + " " + std::to_string(p.boot_ms) + " ms " + p.remark +
            "\n";
  for (const BoundaryResult& b : result.boundaries)
    if (b.verdict != Verdict::pass)
      text += b.boundary + " " + b.state + ": " + std::string(word(b.verdict)) + " " +
              std::to_string(b.threshold_rpm - b.nominal_rpm) + " " + b.remark + "\n";
  for (const StateResult& s : result.states) text += "[" + s.state + "] ";
  return text;
}

}  // namespace tachproof::test

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
#include "tests/bench/told_of.h"

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

}  // namespace tachproof::test

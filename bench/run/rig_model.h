// What a rig file alone says of a rig: how well it would know rpm and time, and what its watcher
// would make of a unit's lamps. Nothing is opened.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "core/judge/bench_facts.h"
#include "core/judge/timeline.h"
#include "core/signal/profile.h"
#include "core/signal/stepped_rpm.h"

namespace tachproof {

struct RigModel {
  std::string words = "a unit and a bench in software";  // one line
  Behaviour behaviour;                                   // of the unit, without faults
  Channels wired = ~Channels{0};
  BenchFacts bench;
  std::optional<SteppedTiming> steps;  // a source that goes from one rpm to the next
  Nanos frame = 0;                     // above 0: a camera's period; a change shows in the next frame

  // As the watcher would report them. `seed`: where in a frame the run begins.
  std::vector<LampEvent> stamped(std::vector<LampEvent> events, Nanos until, std::uint64_t seed) const;
  // The pulses of a source that goes in steps; only with `steps`.
  std::vector<Nanos> stepped_pulses(const Profile& profile, double pulses_per_rev) const;
};

// Throws FileErrors for a rig file that does not fit the gauge, and where it
// leaves open what only the open device could say: a camera's frames a second.
RigModel model_of(const RigFile& rig, const std::string& file, const Gauge& gauge);

}  // namespace tachproof

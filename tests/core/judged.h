// What the judge says of a whole run: a profile as it was played, the lamps as they were seen.
#pragma once

#include <utility>
#include <vector>

#include "core/judge/judge.h"
#include "core/signal/profile.h"

namespace tachproof::test {

// Most tests play too little to prove thresholds: they do not ask for them.
inline JudgeSetup without_thresholds() {
  JudgeSetup setup;
  setup.what.thresholds = false;
  return setup;
}

inline RunResult judged(const Gauge& gauge, const Profile& profile, const std::vector<LampEvent>& events,
                        JudgeSetup setup = without_thresholds(),
                        const std::vector<std::pair<Nanos, Nanos>>& disturbed = {}) {
  if (setup.bench.watcher.resolution == 1) setup.bench.watcher.resolution = 100 * ns_per_us;
  Judge judge(gauge, setup);
  for (const auto& [from, to] : disturbed) judge.disturbed(from, to);
  for (const Segment& s : profile.segments()) judge.rpm(s);
  judge.lamps(events);
  return judge.finish(profile.duration());
}

}  // namespace tachproof::test

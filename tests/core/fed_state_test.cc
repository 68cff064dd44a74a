// The judge of a unit whose supply changes: what it looks at, and when.
#include <gtest/gtest.h>

#include <algorithm>

#include "tests/core/pressed_unit.h"

namespace tachproof {
namespace {

// A step begins where a ramp ends, which is seldom at a whole nanosecond: it is judged from its beginning on.
TEST(FedState, AWrongLampInAStepThatBeginsBetweenTwoNanosecondsIsSeen) {
  const Gauge gauge = test::pressed_gauge();
  const Profile profile(std::vector<Step>{Supply{12.5, 12.5, 500 * ns_per_ms}, Hold{2000, 500 * ns_per_ms},
                                          RampByRate{3650, 702}, Supply{10, 10, 3 * ns_per_s},
                                          Hold{3650, 500 * ns_per_ms}});
  const Nanos at = profile.actions().back().at;
  ASSERT_GT(profile.segments()[profile.segments().size() - 2].start.frac_ns, 0);
  for (const bool wrong : {false, true}) {
    std::vector<LampEvent> events = test::PressedUnit{}.watch(gauge, profile);
    if (wrong) {
      const Channels right = events.back().lit;
      events.push_back({at + ns_per_s, Channels{1}});
      events.push_back({at + 2 * ns_per_s, right});
    }
    const RunResult result = test::judged_pressed(gauge, profile, events, false);
    EXPECT_EQ(result.verdict, wrong ? Verdict::fail : Verdict::pass);
    EXPECT_EQ(std::count_if(result.findings.begin(), result.findings.end(),
                            [](const Finding& f) { return f.kind == FindingKind::lost_evidence; }),
              0);
  }
}

}  // namespace
}  // namespace tachproof

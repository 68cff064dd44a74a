#include "core/judge/blinks_apart.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/core/gauges.h"
#include "tests/core/judged.h"
#include "tests/core/short_times.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

// A top window in which two lamps blink; the unit is right but for what is done to `left`.
struct Blinking {
  Gauge gauge = test::small_gauge();
  Channels left = gauge.channel("left", "blue"), right = gauge.channel("right", "magenta");
  Profile profile{std::vector<Step>{Hold{2000, ns_per_s}, StepTo{5500}, Hold{5500, 6 * ns_per_s}}};
  std::vector<LampEvent> events;

  Blinking() {
    gauge.windows[2].cue = {0, left | right};
    events = test::SampledUnit{}.watch(gauge, profile);
  }
  RunResult judged() const { return test::judged(gauge, profile, events); }
};

TEST(BlinksApart, ALampThatMissesHalfALitPhaseOfItsPartnerIsWrong) {
  Blinking unit;
  ASSERT_EQ(unit.judged().verdict, Verdict::pass);
  // One lit phase in the middle: dark for its last 85 ms.
  for (std::size_t i = unit.events.size() / 2; i + 1 < unit.events.size(); ++i)
    if (unit.events[i].lit == (unit.left | unit.right)) {
      unit.events.insert(unit.events.begin() + static_cast<std::ptrdiff_t>(i) + 1,
                         {unit.events[i].at + 15 * ms, unit.right});
      break;
    }
  const RunResult result = unit.judged();
  EXPECT_EQ(result.verdict, Verdict::fail);
  EXPECT_THAT(
      result.findings,
      testing::Contains(testing::Field(
          &Finding::message, HasSubstr("left blue stayed dark for 85 ms while right magenta was lit"))));
}

TEST(BlinksApart, LampsALittleApartLookAsOne) {
  Blinking unit;
  std::vector<LampEvent> apart;
  for (const LampEvent& event : unit.events) {
    apart.push_back({event.at, event.lit & ~unit.left});
    if (event.lit & unit.left) apart.push_back({event.at + 8 * ms, event.lit});
  }
  unit.events = apart;
  const RunResult result = unit.judged();
  for (const Finding& f : result.findings) EXPECT_NE(f.kind, FindingKind::wrong_cue) << f.message;
}

TEST(BlinksApart, AUnitThatAlwaysBlinksThemApartIsNotedAndNotFailedForIt) {
  BlinksApart apart(55 * ms);
  for (Nanos t = 0; t < 100; ++t)
    apart.span(t * 100 * ms, (t + 1) * 100 * ms, 2, 0b11, t % 2 == 0 ? 0b01 : 0b10);
  EXPECT_TRUE(apart.seen().empty());
  EXPECT_TRUE(apart.never_together());
}

TEST(BlinksApart, OneBlinkingLampHasNoPartner) {
  BlinksApart apart(55 * ms);
  apart.span(0, ns_per_s, 2, 0b01, 0b01);
  EXPECT_TRUE(apart.seen().empty());
  EXPECT_FALSE(apart.never_together());
}

}  // namespace
}  // namespace tachproof

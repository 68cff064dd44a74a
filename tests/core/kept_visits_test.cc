// Which visits count for the fit of thresholds: those of a long lead, and in a survey those of a shorter one
// where jumps have shown what the unit remembers.
#include "core/judge/kept_visits.h"

#include <gtest/gtest.h>

#include "tests/core/gauges.h"

namespace tachproof {
namespace {

constexpr Nanos ms = ns_per_ms;

// White from 3000 to 3060 rpm, dark around it.
Gauge narrow_band() {
  Gauge gauge = test::small_gauge();
  gauge.windows = {
      gauge.windows[0], gauge.windows[1], {"beyond", 3060, {}}, {"far", 6000, {gauge.windows[1].cue}}};
  gauge.blink.reset();
  return gauge;
}

// A unit that answers everything after `response`, and remembers nothing.
class Kept {
 public:
  explicit Kept(double within_rpm, Nanos response = 20 * ms)
      : response_(response), visits_(gauge_, setup(within_rpm)) {}

  // From a hold of 1 s at 5000 rpm into the white band; `swings`: and out of it again.
  void jump(bool swings = false) {
    const Nanos at = play(Hold{5000, ns_per_s});
    play(Hold{3025, ns_per_s});
    visits_.changed(at + response_, history_);
    crossed(2, Direction::falling, at, 0, at);
    if (swings) visits_.changed(at + 3 * response_, history_);
  }
  // Past 3000 rpm at `rate`, with a hold of 1 s before; the ramp leads in for `lead`.
  void ramp(double rate, Nanos lead) {
    play(Hold{3000 - rate * to_seconds(lead), ns_per_s});
    const Nanos at = end_ + lead;
    play(RampByTime{3000 + rate * 0.2, lead + 200 * ms});
    crossed(1, Direction::rising, at, rate, std::nullopt);
  }
  std::size_t visits() const {
    std::size_t ramps = 0;
    for (const Visit& visit : visits_.all()) ramps += visit.step ? 0 : 1;
    return ramps;
  }
  bool memory_known() const { return visits_.memory().known(); }

 private:
  static JudgeSetup setup(double within_rpm) {
    JudgeSetup setup;
    setup.what.within_rpm = within_rpm;
    return setup;
  }
  Nanos play(const Step& step) {
    const double before = history_.empty() ? 0 : history_.rpm_at(end_);
    const Profile profile{std::vector<Step>{Hold{before, end_ > 0 ? end_ : 1}, step}};
    Segment segment = profile.segments().back();
    history_.add(segment);
    end_ = profile.duration();
    return end_;
  }
  void crossed(std::size_t boundary, Direction direction, Nanos due, double rate,
               std::optional<Nanos> jumped) {
    SeenTransition seen;
    seen.crossing.demand.boundary = boundary;
    seen.crossing.demand.direction = direction;
    seen.crossing.demand.nominal_rpm =
        direction == Direction::rising ? gauge_.rising_rpm(boundary) : gauge_.falling_rpm(boundary);
    seen.crossing.at = due + response_;
    seen.rate_rpm_per_s = rate;
    seen.step = jumped.has_value();
    if (jumped) seen.step_response_s = to_seconds(seen.crossing.at - *jumped);
    visits_.add(seen, history_);
  }

  Gauge gauge_ = narrow_band();
  Nanos response_;
  RpmHistory history_{1};
  Nanos end_ = 0;
  KeptVisits visits_;
};

TEST(KeptVisits, ALeadAsLongAsTheLongestResponseCounts) {
  Kept ordinary(0);
  ordinary.ramp(300, 150 * ms);
  EXPECT_EQ(ordinary.visits(), 1u);
}

TEST(KeptVisits, AShorterLeadCountsOnceJumpsHaveShownTheMemory) {
  Kept survey(1);
  survey.ramp(300, 150 * ms);
  survey.ramp(300, 30 * ms);
  EXPECT_EQ(survey.visits(), 1u);
  survey.jump();
  EXPECT_TRUE(survey.memory_known());
  EXPECT_EQ(survey.visits(), 2u);  // one that was before the jump too
}

TEST(KeptVisits, ALeadShorterThanTheMemoryNeverCounts) {
  Kept survey(1, 60 * ms);
  survey.ramp(300, 150 * ms);
  survey.jump();
  survey.ramp(300, 5 * ms);  // kept for 65 ms before the change: 60 ms are remembered, and some to spare
  EXPECT_EQ(survey.visits(), 1u);
  survey.ramp(300, 40 * ms);
  EXPECT_EQ(survey.visits(), 2u);
}

TEST(KeptVisits, AnOrdinaryRunTakesNoShortLead) {
  Kept ordinary(0);
  ordinary.ramp(300, 150 * ms);
  ordinary.jump();
  ordinary.ramp(300, 30 * ms);
  EXPECT_EQ(ordinary.visits(), 1u);
}

// The reading came into the window and swung out of it again.
TEST(KeptVisits, AJumpAfterWhichTheLampsChangedAgainTellsNoMemory) {
  Kept survey(1);
  survey.ramp(300, 150 * ms);
  survey.jump(true);
  EXPECT_FALSE(survey.memory_known());
}

}  // namespace
}  // namespace tachproof

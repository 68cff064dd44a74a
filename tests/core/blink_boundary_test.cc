// Boundaries whose two sides differ by blinking only, decided from intervals.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "core/judge/judge.h"
#include "tests/core/gauges.h"
#include "tests/core/judged.h"
#include "tests/core/short_times.h"

namespace tachproof {
namespace {

using test::judged;

enum class Ladder { steady_then_blinking, dark_then_blinking, blinking_then_steady };

Gauge ladder(Ladder kind) {
  Gauge g = test::small_gauge();
  const Channels white = g.channel("left", "white"), blue = g.channel("left", "blue"),
                 magenta = g.channel("right", "magenta");
  const Cue steady{white | magenta, 0}, blinking{white, magenta};
  g.windows = {{"quiet", 0, {}}, {"near", 3000, {blue, 0}}, {"low", 4000, {}}, {"high", 5000, {}}};
  g.windows[2].cue = kind == Ladder::steady_then_blinking ? steady
                     : kind == Ladder::dark_then_blinking ? Cue{white, 0}
                                                          : blinking;
  g.windows[3].cue = kind == Ladder::blinking_then_steady ? steady : blinking;
  return g;
}

// Believes r(t - response); its blink starts again at each entry, or runs free.
struct BlinkingUnit {
  Nanos response = 30 * ms;
  double moved_rpm = 0;  // of the top boundary
  bool free_running = false;
  double phase = 0;  // of the blink, at entry or at the beginning

  std::vector<LampEvent> watch(Gauge gauge, const Profile& profile) const {
    gauge.windows[3].from_rpm += moved_rpm;
    std::vector<LampEvent> events;
    std::size_t window = 0;
    Nanos entered = 0;
    for (Nanos t = 0; t <= profile.duration(); t += ms) {
      const std::size_t now = next_window(gauge, window, t < response ? 0 : profile.rpm_at(t - response));
      if (now != window) entered = t;
      window = now;
      const Cue& cue = gauge.windows[window].cue;
      double at = to_seconds(t - (free_running ? 0 : entered)) * gauge.blink->hz + phase;
      Channels lit = cue.steady;
      if (at - std::floor(at) < gauge.blink->duty) lit |= cue.blinking;
      if (events.empty() || events.back().lit != lit) events.push_back({t, lit});
    }
    return events;
  }
};

// Each boundary slowly twice both ways, and quickly, and by steps; rests for eight blinks.
Profile thorough(double slow_rate) {
  std::vector<Step> steps{Hold{2800, s}};
  for (const double rpm : {3000.0, 4000.0, 5000.0})
    for (const double rate : {slow_rate, slow_rate, 100.0})
      for (const double side : {-1.0, 1.0}) {
        steps.push_back(RampByRate{rpm + side * 40, 2000});
        steps.push_back(Hold{rpm + side * 40, 1700 * ms});
        steps.push_back(RampByRate{rpm - side * 40, rate});
        steps.push_back(Hold{rpm - side * 40, 1700 * ms});
      }
  for (int i = 0; i < 4; ++i)
    for (const double rpm : {5100.0, 2800.0}) {
      steps.push_back(StepTo{rpm});
      steps.push_back(Hold{rpm, 1700 * ms});
    }
  return Profile{steps};
}

RunResult told_of(const Gauge& gauge, const Profile& profile, const BlinkingUnit& unit) {
  JudgeSetup setup;
  return judged(gauge, profile, unit.watch(gauge, profile), setup);
}

std::vector<BlinkingUnit> units() {
  std::vector<BlinkingUnit> all;
  for (const bool free : {false, true})
    for (const double phase : {0.0, 0.3, 0.55, 0.9}) all.push_back({30 * ms, 0, free, phase});
  return all;
}

TEST(BlinkBoundary, SoundUnitsPassWhateverTheirBlinkStartsWith) {
  for (const Ladder kind :
       {Ladder::steady_then_blinking, Ladder::dark_then_blinking, Ladder::blinking_then_steady})
    for (const BlinkingUnit& unit : units()) {
      const Gauge gauge = ladder(kind);
      const RunResult result = told_of(gauge, thorough(5), unit);
      EXPECT_EQ(result.verdict, Verdict::pass) << static_cast<int>(kind) << " phase " << unit.phase;
      for (const BoundaryResult& row : result.boundaries) {
        EXPECT_EQ(row.verdict, Verdict::pass) << row.boundary << " " << word(row.direction) << row.remark;
        if (row.boundary != "high") continue;
        ASSERT_TRUE(row.between_rpm);
        EXPECT_LE(row.between_rpm->low_rpm, row.nominal_rpm + 1e-6);
        EXPECT_GE(row.between_rpm->high_rpm, row.nominal_rpm - 1e-6);
      }
      for (const Finding& f : result.findings) ADD_FAILURE() << f.message;
    }
}

TEST(BlinkBoundary, AThresholdThatIsOffNeverPasses) {
  for (const Ladder kind :
       {Ladder::steady_then_blinking, Ladder::dark_then_blinking, Ladder::blinking_then_steady})
    for (const double moved : {-20.0, -8.0, -4.0, 4.0, 8.0, 20.0})
      for (const double rate : {5.0, 40.0})
        for (BlinkingUnit unit : units()) {
          unit.moved_rpm = moved;
          const RunResult result = told_of(ladder(kind), thorough(rate), unit);
          EXPECT_NE(result.verdict, Verdict::pass) << static_cast<int>(kind) << " moved " << moved;
          if (std::abs(moved) >= 8 && rate == 5) {
            EXPECT_EQ(result.verdict, Verdict::fail) << static_cast<int>(kind) << " moved " << moved;
          }
        }
}

TEST(BlinkBoundary, ARampThatIsTooFastIsUndecidedAndSaysWhatWouldDecide) {
  const RunResult result = told_of(ladder(Ladder::steady_then_blinking), thorough(60), {});
  EXPECT_EQ(result.verdict, Verdict::undecided);
  bool said = false;
  for (const BoundaryResult& row : result.boundaries) {
    if (row.boundary != "high") continue;
    EXPECT_EQ(row.verdict, Verdict::undecided);
    ASSERT_TRUE(row.between_rpm);
    EXPECT_THAT(row.remark, testing::HasSubstr("differ only in blinking: add a ramp of at most"));
    said = true;
  }
  EXPECT_TRUE(said);
}

// A survey finds such a boundary by holds: steps up until it blinks.
TEST(BlinkBoundary, HoldsNearItDecideItAsWell) {
  const Gauge gauge = ladder(Ladder::steady_then_blinking);
  std::vector<Step> steps{Hold{2800, s}, RampByRate{4500, 2000}, Hold{4500, s}};
  for (double rpm = 4994; rpm <= 5006; rpm += 1) {
    steps.push_back(StepTo{rpm});
    steps.push_back(Hold{rpm, 400 * ms});
  }
  for (double rpm = 5000; rpm >= 4986; rpm -= 1) {
    steps.push_back(StepTo{rpm});
    steps.push_back(Hold{rpm, 400 * ms});
  }
  const Profile profile{steps};
  for (BlinkingUnit unit : units()) {
    unit.moved_rpm = 1.5;
    const RunResult result = told_of(gauge, profile, unit);
    int rows = 0;
    for (const BoundaryResult& row : result.boundaries) {
      if (row.boundary != "high") continue;
      ++rows;
      const double truth = row.nominal_rpm + 1.5;
      ASSERT_TRUE(row.between_rpm) << row.remark;
      EXPECT_LE(row.between_rpm->low_rpm, truth);
      EXPECT_GE(row.between_rpm->high_rpm, truth);
      EXPECT_LE(row.between_rpm->high_rpm - row.between_rpm->low_rpm, 1.01) << word(row.direction);
    }
    EXPECT_EQ(rows, 2);
  }
}

}  // namespace
}  // namespace tachproof

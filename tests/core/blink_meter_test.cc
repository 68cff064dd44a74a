#include "core/judge/blink_meter.h"
#include "tests/core/short_times.h"

#include <gtest/gtest.h>

namespace tachproof {
namespace {

// Lit from `from` for `lit`, every `period`.
void blink(BlinkMeter& meter, Nanos from, Nanos period, Nanos lit, int times) {
  for (int i = 0; i < times; ++i) {
    meter.change(from + i * period, true);
    meter.change(from + i * period + lit, false);
  }
}

TEST(BlinkMeter, MeasuresRateAndDutyFromEdgeToLikeEdge) {
  BlinkMeter meter;
  meter.enter(0, false);
  blink(meter, 10 * ms, 250 * ms, 100 * ms, 9);
  meter.leave(2400 * ms);
  EXPECT_EQ(meter.cycles(), 8);
  EXPECT_DOUBLE_EQ(meter.hz(), 4);
  EXPECT_DOUBLE_EQ(meter.duty(), 0.4);
  EXPECT_EQ(meter.watched(), 2400 * ms);
}

TEST(BlinkMeter, APauseBetweenTwoVisitsIsNoPeriod) {
  BlinkMeter meter;
  meter.enter(0, false);
  blink(meter, 0, 200 * ms, 100 * ms, 3);
  meter.leave(600 * ms);
  meter.enter(5000 * ms, false);
  blink(meter, 5000 * ms, 200 * ms, 100 * ms, 3);
  meter.leave(5600 * ms);
  EXPECT_EQ(meter.cycles(), 4);
  EXPECT_DOUBLE_EQ(meter.hz(), 5);
  EXPECT_DOUBLE_EQ(meter.longest_s(), 0.2);
}

TEST(BlinkMeter, KnowsItsShortestAndLongestSinglePeriod) {
  BlinkMeter meter;
  meter.enter(0, false);
  for (const Nanos at : {0, 200, 350, 650}) {
    meter.change(at * ms, true);
    meter.change((at + 50) * ms, false);
  }
  EXPECT_DOUBLE_EQ(meter.shortest_s(), 0.15);
  EXPECT_DOUBLE_EQ(meter.longest_s(), 0.3);
}

TEST(BlinkMeter, ALampThatStaysAsItIsIsStill) {
  BlinkMeter meter;
  meter.enter(0, false);
  blink(meter, 0, 200 * ms, 100 * ms, 2);
  meter.leave(1500 * ms);
  EXPECT_EQ(meter.longest_still(), 1200 * ms);
  EXPECT_EQ(meter.longest_still_at(), 300 * ms);
  EXPECT_EQ(BlinkMeter().cycles(), 0);
}

}  // namespace
}  // namespace tachproof

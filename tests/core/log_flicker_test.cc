// Flicker of a lap, straight through the thresholds.
#include "core/flicker/log_flicker.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <vector>

#include "tests/core/gauges.h"

namespace tachproof {
namespace {

using Samples = std::vector<LoggedRpm::Sample>;

// small_gauge(): boundaries near at 3000, top at 5000, deadband 8 below.
Samples each_100_ms(const std::vector<double>& rpm) {
  Samples samples;
  for (const double n : rpm) samples.push_back({static_cast<Nanos>(samples.size()) * 100 * ns_per_ms, n});
  return samples;
}

TEST(LogFlicker, CountsAChangeThatIsMadeAgainSoon) {
  const Gauge g = test::small_gauge();
  const Samples log = each_100_ms({2950, 3050, 2950, 3050, 3050});
  const auto rows = flicker_in_log(g, log, 8, ns_per_s);
  ASSERT_EQ(rows.size(), 2u);
  EXPECT_EQ(rows[0].changes, 3u);  // up at 50 ms, down at 158 ms, up again at 250 ms
  EXPECT_EQ(rows[0].flickers, 1u);
  EXPECT_EQ(rows[0].first_at, 50 * ns_per_ms);
  EXPECT_EQ(rows[1].changes, 0u);
  EXPECT_EQ(flicker_in_log(g, log, 8, 200 * ns_per_ms)[0].flickers, 0u);
}

// A shift point is passed and left at once.
TEST(LogFlicker, TakesOneFlashForNone) {
  const auto rows = flicker_in_log(test::small_gauge(), each_100_ms({4900, 5050, 4000, 4000}), 8, ns_per_s);
  EXPECT_EQ(rows[1].changes, 2u);
  EXPECT_EQ(rows[1].flickers, 0u);
}

TEST(LogFlicker, AWiderDeadbandTakesTheSwayIn) {
  const Gauge g = test::small_gauge();
  const Samples log = each_100_ms({2990, 3005, 2994, 3005, 2994, 3005, 2994, 3005, 2900});
  EXPECT_GT(flicker_in_log(g, log, 0, ns_per_s)[0].flickers, 0u);
  EXPECT_EQ(flicker_in_log(g, log, 6, ns_per_s)[0].flickers, 0u);  // off only under 2994
  const auto curve = flicker_by_width(g, log, 1, 50, ns_per_s);
  ASSERT_EQ(curve.size(), 51u);
  EXPECT_GT(curve[5].flickers, 0u);
  EXPECT_EQ(curve[6].flickers, 0u);
  EXPECT_EQ(curve[50].changes, 2u);
}

TEST(LogFlicker, BeginsWhereTheLogBegins) {
  const Gauge g = test::small_gauge();
  EXPECT_EQ(flicker_in_log(g, each_100_ms({3100, 3100, 3100}), 8, ns_per_s)[0].changes, 0u);
}

// The plainest form of the lamps' logic, sample by sample, says the same as the crossings do.
RC_GTEST_PROP(LogFlicker, ChangesAsOftenAsTheGaugesOwnLogic, ()) {
  const Gauge g = test::small_gauge();
  const auto drawn = *rc::gen::nonEmpty(rc::gen::container<std::vector<int>>(rc::gen::inRange(2980, 3020)));
  const Samples log = each_100_ms(std::vector<double>(drawn.begin(), drawn.end()));
  std::size_t window = next_window(g, 0, log.front().rpm), changes = 0;
  for (const LoggedRpm::Sample& sample : log) {
    const std::size_t now = next_window(g, window, sample.rpm);
    changes += now != window;
    window = now;
  }
  RC_ASSERT(flicker_in_log(g, log, g.deadband.rpm, ns_per_s)[0].changes == changes);
}

}  // namespace
}  // namespace tachproof

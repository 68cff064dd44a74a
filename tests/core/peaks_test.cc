// The highest rpm that a unit must show, and what it may show where its supply dipped.
#include "core/judge/peaks.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <optional>

namespace tachproof {
namespace {

constexpr Nanos second = ns_per_s;

// An instant in tenths of a second.
Nanos tenths(std::size_t t) { return static_cast<Nanos>(t) * ns_per_s / 10; }

// From the times in seconds and the rpm of each.
Segment still(double from_s, double lasts_s, double rpm) {
  return {Segment::Shape::constant, {from_seconds(from_s), 0}, lasts_s, rpm, 0, 0, 0};
}

TEST(Peaks, ADipMayHaveCostThePeakOrNot) {
  Peaks peaks;
  peaks.rpm(still(0, 1, 6000));
  peaks.rpm(still(1, 1, 3000));
  peaks.lost(second * 3 / 2, 2 * second, false);
  peaks.rpm(still(2, 1, 3500));
  EXPECT_EQ(peaks.at(second * 5 / 4), (std::vector<PeakSpan>{{6000, 6000}}));
  EXPECT_EQ(peaks.at(3 * second), (std::vector<PeakSpan>{{6000, 6000}, {3500, 3500}}));
}

TEST(Peaks, WhenItWokeIsKnownWithinATimeOnly) {
  Peaks peaks;
  peaks.rpm(still(0, 1, 6000));
  peaks.lost(second, Peaks::never, true);
  peaks.rpm(still(1, 1, 5000));
  peaks.rpm(still(2, 1, 3000));
  EXPECT_EQ(peaks.at(3 * second), (std::vector<PeakSpan>{{0, 5000}}));
  peaks.lost_by(second * 5 / 2);
  EXPECT_EQ(peaks.at(3 * second), (std::vector<PeakSpan>{{3000, 5000}}));
}

TEST(Peaks, ClearedByItsButtonItGoesOnFromThere) {
  Peaks peaks;
  peaks.rpm(still(0, 1, 6000));
  peaks.lost(second / 2, second * 3 / 4, false);
  peaks.cleared(second, 4000);
  peaks.rpm(still(1, 1, 3000));
  EXPECT_EQ(peaks.at(2 * second), (std::vector<PeakSpan>{{4000, 4000}}));
}

// A unit that steps through time, and really loses its peak at some instant of each dip, or not.
RC_GTEST_PROP(Peaks, WhateverTheUnitDidItsPeakIsAmongThem, ()) {
  Peaks peaks;
  std::vector<double> rpm;  // of each tenth of a second
  struct Lost {
    std::size_t from, to, at;
    bool surely, really;
  };
  std::vector<Lost> all;
  std::size_t now = 0, free_from = 0;
  const int segments = *rc::gen::inRange(1, 12);
  for (int i = 0; i < segments; ++i) {
    const auto lasts = static_cast<std::size_t>(*rc::gen::inRange(1, 8));
    const double level = *rc::gen::inRange(1, 80) * 100;
    if (now >= free_from && *rc::gen::inRange(0, 3) == 0) {
      Lost lost{now, now + static_cast<std::size_t>(*rc::gen::inRange(0, 12)), 0, *rc::gen::arbitrary<bool>(),
                true};
      lost.at = lost.from +
                static_cast<std::size_t>(*rc::gen::inRange(0, static_cast<int>(lost.to - lost.from) + 1));
      lost.really = lost.surely || *rc::gen::arbitrary<bool>();
      peaks.lost(tenths(lost.from), tenths(lost.to), lost.surely);
      free_from = lost.to;
      all.push_back(lost);
    }
    peaks.rpm(still(to_seconds(tenths(now)), to_seconds(tenths(lasts)), level));
    rpm.insert(rpm.end(), lasts, level);
    now += lasts;
  }
  double peak = 0;
  for (std::size_t t = 0; t < now; ++t) {
    for (const Lost& lost : all)
      if (lost.really && lost.at == t) peak = 0;
    peak = std::max(peak, rpm[t]);
  }
  for (const Lost& lost : all)
    if (lost.really && lost.at >= now) return;  // it loses it after the question
  const std::vector<PeakSpan> right = peaks.at(tenths(now));
  RC_ASSERT(std::any_of(right.begin(), right.end(),
                        [&](const PeakSpan& one) { return peak >= one.lowest && peak <= one.highest; }));
  if (all.empty()) RC_ASSERT(right.size() == 1U && right[0].lowest == right[0].highest);
}

}  // namespace
}  // namespace tachproof

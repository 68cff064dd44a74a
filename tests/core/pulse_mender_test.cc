#include "core/recording/pulse_mender.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <vector>

#include "core/signal/pulse_train.h"
#include "tests/core/trains.h"

namespace tachproof {
namespace {

std::vector<Nanos> rough_edges() {
  Noise noise;
  noise.jitter_us = 20;
  noise.missing = noise.doubled = 1e-3;
  noise.doubled_after_us = 250;
  const std::vector<Step> steps = {Hold{7600, 300 * ns_per_s}};
  return test::edges_of(Profile(steps), 3, noise, 4);
}

MendedPulses in_parts(const std::vector<Nanos>& edges, std::size_t most_kept, std::size_t first_part) {
  PulseMender mender(most_kept);
  const std::span<const Nanos> all(edges);
  for (std::size_t at = 0, part = first_part; at < all.size(); at += part, part = part * 3 % 4999 + 1)
    mender.add(all.subspan(at, std::min(part, all.size() - at)));
  return mender.finish();
}

TEST(PulseMender, MendsTheSameHoweverTheRecordingIsCutUp) {
  const std::vector<Nanos> edges = rough_edges();
  ASSERT_GT(edges.size(), 100'000U);  // more than it waits for
  const MendedPulses whole = in_parts(edges, 200'000, edges.size());
  EXPECT_EQ(whole.at_s.size(), whole.placed);
  EXPECT_NEAR(static_cast<double>(whole.missing), 1e-3 * static_cast<double>(edges.size()), 40);
  EXPECT_NEAR(static_cast<double>(whole.doubled), 1e-3 * static_cast<double>(edges.size()), 40);
  const MendedPulses parts = in_parts(edges, 200'000, 1);
  EXPECT_EQ(parts.at_s, whole.at_s);
  EXPECT_EQ(parts.mended, whole.mended);
  EXPECT_EQ(parts.doubled_after_s, whole.doubled_after_s);
}

TEST(PulseMender, CountsInPulsesThatItDoesNotKeep) {
  const std::vector<Nanos> edges = rough_edges();
  const MendedPulses all = in_parts(edges, 200'000, 1), few = in_parts(edges, 1000, 1);
  EXPECT_EQ(few.at_s.size(), 1000U);
  EXPECT_TRUE(std::equal(few.at_s.begin(), few.at_s.end(), all.at_s.begin()));
  EXPECT_EQ(few.placed, all.placed);
  EXPECT_EQ(few.missing, all.missing);
  EXPECT_EQ(few.doubled, all.doubled);
  EXPECT_EQ(few.edges, edges.size());
  EXPECT_EQ(few.duration_s, to_seconds(edges.back() - edges.front()));
}

TEST(PulseMender, HasNothingToSayOfNothing) {
  EXPECT_EQ(PulseMender(10).finish().placed, 0U);
  PulseMender one(10);
  const Nanos edge = 5;
  one.add({&edge, 1});
  EXPECT_EQ(one.finish().edges, 1U);
}

}  // namespace
}  // namespace tachproof

// The profile that shows all of a gauge.
#include "core/plan/proof.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "core/judge/expectation.h"
#include "core/signal/profile.h"
#include "tests/core/gauges.h"

namespace tachproof {
namespace {

TEST(Proof, CrossesEveryBoundaryBothWaysByRamps) {
  const Gauge g = test::small_gauge();
  ProofShape shape = proof_shape(g);
  shape.jumps = 0;
  shape.passes = 1;
  const Profile profile(steps_of(proof_parts(g, shape)));
  const ExpectedRun run = expect(g, profile);
  for (std::size_t b = 1; b <= g.boundaries(); ++b)
    for (const Direction direction : {Direction::rising, Direction::falling}) {
      int ramps = 0;
      for (const ExpectedTransition& t : run.transitions)
        if (t.boundary == b && t.direction == direction) {
          ++ramps;
          EXPECT_NEAR(std::abs(profile.slope_at(t.nominal)), shape.rate_rpm_per_s[b], 0.2);
        }
      EXPECT_EQ(ramps, 1) << g.windows[b].name << " " << word(direction);
    }
}

TEST(Proof, EveryWindowMustBeShownForAWhile) {
  const Gauge g = test::small_gauge();
  const ExpectedRun run = expect(g, Profile(steps_of(proof_parts(g, proof_shape(g)))));
  for (std::size_t w = 0; w < g.windows.size(); ++w)
    EXPECT_TRUE(std::any_of(run.reaches.begin(), run.reaches.end(), [&](const Reach& r) {
      return r.lowest == w && r.highest == w;
    })) << w;
}

TEST(Proof, IsEmptyWithoutABoundary) {
  Gauge g = test::small_gauge();
  g.windows.resize(1);
  EXPECT_TRUE(proof_parts(g, proof_shape(g)).empty());
}

}  // namespace
}  // namespace tachproof

#include "core/base/random.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <bit>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <fstream>
#include <string>
#include <vector>

#include "tests/core/statistics.h"

namespace tachproof {
namespace {

// Rosetta Code, "Pseudo-random numbers/Splitmix64", seed 1234567.
TEST(Random, SplitMixGivesThePublishedNumbers) {
  std::uint64_t state = 1234567;
  for (const std::uint64_t expected : {6457827717110365317u, 3203168211198807973u, 9817491932198370423u,
                                       4593380528125082431u, 16408922859458223821u})
    EXPECT_EQ(split_mix(state), expected);
}

// rust-random, rand_xoshiro/src/xoshiro256plusplus.rs, which took them from
// the authors' xoshiro256plusplus.c, state {1, 2, 3, 4}.
TEST(Random, XoshiroGivesThePublishedNumbers) {
  Random random(std::array<std::uint64_t, 4>{1, 2, 3, 4});
  for (const std::uint64_t expected : std::initializer_list<std::uint64_t>{
           41943041u, 58720359u, 3588806011781223u, 3591011842654386u, 9228616714210784205u,
           9973669472204895162u, 14011001112246962877u, 12406186145184390807u, 15849039046786891736u,
           10450023813501588000u})
    EXPECT_EQ(random.bits(), expected);
}

TEST(Random, GivesEachSeedAndStreamItsOwnNumbers) {
  std::vector<std::uint64_t> firsts;
  for (std::uint64_t seed = 0; seed < 40; ++seed)
    for (std::uint64_t stream = 0; stream < 40; ++stream) firsts.push_back(Random(seed, stream).bits());
  std::ranges::sort(firsts);
  EXPECT_EQ(std::ranges::adjacent_find(firsts), firsts.end());
  EXPECT_EQ(Random(7, 3).bits(), Random(7, 3).bits());
}

RC_GTEST_PROP(Random, QuantileAgreesWithBoost, ()) {
  const double p = std::ldexp(*rc::gen::inRange<std::int64_t>(1, std::int64_t{1} << 52), -52) /
                   *rc::gen::element(1.0, 2.0, 1e3, 1e9, 1e30);
  const double expected = boost::math::quantile(boost::math::normal(), p);
  RC_ASSERT(std::abs(normal_quantile(p) - expected) <= 1e-15 * std::max(1.0, std::abs(expected)));
}

// The 95.45 %, 99.73 % points and the median: any table of the normal.
TEST(Random, QuantileKnowsTheTable) {
  EXPECT_EQ(normal_quantile(0.5), 0);
  EXPECT_NEAR(normal_quantile(0.975), 1.959963984540054, 1e-15);
  EXPECT_NEAR(normal_quantile(0.025), -1.959963984540054, 1e-15);
  EXPECT_NEAR(normal_quantile(0.995), 2.575829303548901, 1e-15);
}

// Fixed seeds; each bound is 4 standard errors, so that one in 16,000 seeds
// would fail.
TEST(Random, DrawsUniformAndNormalDeviates) {
  Random random(1);
  const std::size_t n = 400'000;
  const double root_n = std::sqrt(static_cast<double>(n));
  std::vector<double> u(n);
  std::vector<double> z(n);
  for (double& x : u) x = random.uniform();
  for (double& x : z) x = random.normal();
  EXPECT_NEAR(test::mean(u), 0.5, 4 * std::sqrt(1.0 / 12) / root_n);
  EXPECT_NEAR(test::sd(u), std::sqrt(1.0 / 12), 4 * std::sqrt((1.0 / 80 - 1.0 / 144) * 3) / root_n);
  EXPECT_NEAR(test::mean(z), 0, 4 / root_n);
  EXPECT_NEAR(test::sd(z), 1, 4 / std::sqrt(2.0) / root_n);
  EXPECT_NEAR(test::autocorrelation(z, 1), 0, 4 / root_n);
  // Shares beyond 1 and 3 sigma, 31.7311 % and 0.26998 % (any table).
  for (const auto& [level, share] : {std::pair{1.0, 0.317311}, {3.0, 0.0026998}}) {
    const auto beyond = std::ranges::count_if(z, [l = level](double x) { return std::abs(x) > l; });
    EXPECT_NEAR(static_cast<double>(beyond) / static_cast<double>(n), share, 4 * std::sqrt(share) / root_n);
  }
  EXPECT_GT(*std::ranges::min_element(u), 0);
  EXPECT_LT(*std::ranges::max_element(u), 1);
}

TEST(Random, GivesTheSameBitsEverywhere) {
  // Recorded once on x86-64; any machine that differs has a different
  // arithmetic.
  Random random(42);
  std::uint64_t digest = 0;
  for (int i = 0; i < 1000; ++i) digest = digest * 31 + std::bit_cast<std::uint64_t>(random.normal());
  EXPECT_EQ(digest, 14286819855265438530u);
}

// NIST StRD univariate sets, certified values (itl.nist.gov/div898/strd); the
// data as carried by apache/commons-math and GSL's statistics/test_nist.c,
// tolerances as GSL's. They check the yardstick of the other tests.
TEST(Statistics, AgreeWithNistsCertifiedValues) {
  struct Set {
    const char* file;
    double mean, sd, lag1, sd_tolerance;
  };
  for (const Set& set : {
           Set{"michelso", 299.8524, 0.0790105478190518, 0.535199668621283, 1e-12},
           Set{"mavro", 2.001856, 0.000429123454003053, 0.937989183438248, 1e-12},
           Set{"lew", -177.435, 277.332168044316, -0.307304800605679, 1e-13},
           Set{"lottery", 518.958715596330, 291.699727470969, -0.120948622967393, 1e-13},
           Set{"numacc1", 10000002, 1, -0.5, 1e-15},
           Set{"numacc2", 1.2, 0.1, -0.999, 1e-13},
           Set{"numacc3", 1000000.2, 0.1, -0.999, 1e-9},
           Set{"numacc4", 10000000.2, 0.1, -0.999, 1e-7},
       }) {
    std::ifstream in(TACHPROOF_TEST_DATA + std::string("/strd_") + set.file + ".txt");
    std::vector<double> x;
    for (double v = 0; in >> v;) x.push_back(v);
    ASSERT_GE(x.size(), 3u) << set.file;
    EXPECT_NEAR(test::mean(x), set.mean, 1e-13 * std::abs(set.mean)) << set.file;
    EXPECT_NEAR(test::sd(x), set.sd, set.sd_tolerance * set.sd) << set.file;
    EXPECT_NEAR(test::autocorrelation(x, 1), set.lag1, std::max(1e-10, 10 * set.sd_tolerance)) << set.file;
  }
}

}  // namespace
}  // namespace tachproof

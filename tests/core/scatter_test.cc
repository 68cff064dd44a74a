#include "core/judge/scatter.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace tachproof {
namespace {

// A unit that reads at random phase, each reading with noise of its own, and changes at the first
// reading that reaches the threshold: drawn, to check what is summed.
struct Drawn {
  double early = 0, spread2 = 0;  // in units of the noise
};
Drawn drawn(double x, int visits) {
  std::mt19937_64 random(11);
  std::normal_distribution<double> noise(0, 1);
  std::uniform_real_distribution<double> phase(0, 1);
  double sum = 0, squares = 0;
  for (int i = 0; i < visits; ++i) {
    double r = -8 - x * phase(random);  // far below the threshold at 0
    while (r + noise(random) < 0) r += x;
    sum += r;
    squares += r * r;
  }
  const double mean = sum / visits;
  return {x / 2 - mean, squares / visits - mean * mean};
}

TEST(Scatter, OfTheFirstReadingToReachAThresholdIsWhatADrawOfThemShows) {
  for (const int power : {-4, -2, 0, 1}) {
    const double x = std::pow(2.0, power);
    const FirstPassage summed = first_passage(power);
    const Drawn sample = drawn(x, 40'000);
    EXPECT_NEAR(summed.early, sample.early, 0.02) << "step 2^" << power;
    EXPECT_NEAR(summed.spread2, sample.spread2, 0.03 * sample.spread2 + 0.01) << "step 2^" << power;
  }
}

// Its table ends there, and what lies a last place below it is rounded onto the end.
TEST(Scatter, OfAFirstPassageHasNoGapWhereTheClosedFormTakesOver) {
  const FirstPassage below = first_passage(std::nextafter(3.0, 0.0)), from = first_passage(3);
  EXPECT_NEAR(below.spread2, from.spread2, 0.01 * from.spread2);
  EXPECT_NEAR(below.early, from.early, 1e-6);
}

// GUM 4.3.7: a rectangle of width P x rate.
TEST(Scatter, WithoutNoiseIsTheUpdatePeriodsRectangle) {
  Scatter scatter;
  scatter.s2 = 0.05 * 0.05 / 12;
  EXPECT_DOUBLE_EQ(scatter.variance(60), 60 * 60 * 0.05 * 0.05 / 12);
  EXPECT_EQ(early_by_noise_rpm(scatter, 60), 0);
}

TEST(Scatter, ANoisyUnitThatIsCrossedSlowlyChangesEarly) {
  Scatter scatter;
  scatter.rpm2 = 0.25;
  scatter.s2 = 0.01 * 0.01 / 12;
  EXPECT_GT(early_by_noise_rpm(scatter, 2), early_by_noise_rpm(scatter, 200));
  EXPECT_LT(scatter.variance(2), 0.25);  // and scatters less than its noise
}

}  // namespace
}  // namespace tachproof

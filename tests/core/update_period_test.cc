// The period of a unit's updates, found from the instants at which its lamps changed; and
// what updates shift together.
#include "core/compare/update_period.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "core/compare/shared_updates.h"

namespace tachproof {
namespace {

struct Clock {
  double period_s = 0.050;
  double phase_s = 0.0137;
  double response_s = 0.020;
  double not_exact_s = 0;  // standard, of each tick
};

double answer_s(double nominal_s, const Clock& clock, std::mt19937& random) {
  std::normal_distribution<double> off(0, 1);
  const double asked = nominal_s - clock.phase_s;
  return clock.phase_s + std::ceil(asked / clock.period_s) * clock.period_s + clock.response_s +
         clock.not_exact_s * off(random);
}

std::vector<double> any_instants(unsigned seed, int count = 60) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> at(0, 200);
  std::vector<double> out;
  for (int i = 0; i < count; ++i) out.push_back(at(random));
  return out;
}

std::vector<SeenChange> seen(const std::vector<double>& nominal, const Clock& clock) {
  std::mt19937 random(5);
  std::vector<SeenChange> out;
  for (const double at : nominal) out.push_back({at, answer_s(at, clock, random)});
  return out;
}

TEST(UpdatePeriod, IsThatOfTheClockAtWhoseTicksLampsChange) {
  for (const double period_s : {0.010, 0.020, 0.0500017, 0.083, 0.125}) {
    const auto found = update_period_s(seen(any_instants(1), {period_s}));
    ASSERT_TRUE(found) << period_s;
    EXPECT_NEAR(*found, period_s, 1e-6 * period_s);
  }
}

TEST(UpdatePeriod, MayTickAMillisecondEarlyOrLate) {
  const auto found = update_period_s(seen(any_instants(2), {0.050, 0.01, 0.02, 0.001}));
  ASSERT_TRUE(found);
  EXPECT_NEAR(*found, 0.050, 1e-5);
}

TEST(UpdatePeriod, IsNotFoundWhereAUnitAnswersAtAnyInstant) {
  for (unsigned seed = 0; seed < 40; ++seed) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> lag(0.02, 0.07);
    std::vector<SeenChange> changes;
    for (const double at : any_instants(seed, 10 + static_cast<int>(seed)))
      changes.push_back({at, at + lag(random)});
    EXPECT_FALSE(update_period_s(changes)) << seed;
  }
}

// At 40 rpm/s boundaries that are 10 rpm apart are asked for every 250 ms: a unit that always
// answers after 26 ms then changes its lamps every 250 ms as well.
TEST(UpdatePeriod, IsNotTakenFromTheTrain) {
  std::vector<SeenChange> changes;
  for (const int k : {20, 35, 46, 88, 300, 320, 340, 360, 395})
    changes.push_back({k * 0.25, k * 0.25 + 0.026});
  EXPECT_FALSE(update_period_s(changes));
  // With the way down half of 50 ms beside them, a clock of 50 ms shows: its answers are 25 ms apart.
  const std::size_t up = changes.size();
  for (std::size_t i = 0; i < up; ++i)
    changes.push_back({changes[i].nominal_s + 120.175, changes[i].at_s + 120.15});
  const auto found = update_period_s(changes);
  ASSERT_TRUE(found);
  EXPECT_NEAR(*found, 0.050, 1e-6);
}

TEST(UpdatePeriod, AsksForEnoughChanges) {
  EXPECT_FALSE(update_period_s(std::vector<SeenChange>{}));
  EXPECT_FALSE(update_period_s(seen(any_instants(3, 7), {})));
  EXPECT_FALSE(update_period_s(RunResult{}));
}

TEST(SharedUpdates, AreThoseOfAUnitOverAllPhasesOfItsClock) {
  // Both runs' phases gone through one by one.
  const std::vector<LagPair> pairs = {{1, Direction::rising, 0, 0, 3.012, 3.012},
                                      {2, Direction::rising, 0, 0, 5.021, 5.021},
                                      {3, Direction::rising, 0, 0, 9.047, 9.047},
                                      {4, Direction::rising, 0, 0, 11.012, 11.012}};
  const Weights weights = {0.4, 0.3, 0.2, 0.1};
  const UpdatesOfRuns updates{{0.050, 0.050}, true};
  constexpr int phases = 500;
  const auto waited = [&](int phase) {
    double sum = 0;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      const double asked = pairs[i].before_s - 0.050 * (phase + 0.5) / phases;
      sum += weights[i] * (std::ceil(asked / 0.050) * 0.050 - asked);
    }
    return sum;
  };
  double sum = 0, squares = 0;
  for (int phase = 0; phase < phases; ++phase) {
    sum += waited(phase) / phases;
    squares += waited(phase) * waited(phase) / phases;
  }
  const double of_both_runs = 2 * (squares - sum * sum);
  const double stated = variance_by_updates(weights, pairs, updates);
  EXPECT_GE(stated, 0.999 * of_both_runs);
  EXPECT_LE(stated, 1.03 * of_both_runs);  // rather too much
}

TEST(SharedUpdates, DoNotAverageOutAtOnePhase) {
  std::vector<LagPair> pairs;
  for (std::size_t i = 0; i < 20; ++i)
    pairs.push_back({1 + i, Direction::rising, 100, 0, 3.0 + 0.25 * static_cast<double>(i),
                     3.0 + 0.25 * static_cast<double>(i)});
  const UpdatesOfRuns updates{{0.050, 0.050}, true};
  const double one = 0.050 * 0.050 / 6;
  EXPECT_NEAR(variance_by_updates(Weights(20, 1.0 / 20), pairs, updates), one, 1e-9);
  for (std::size_t i = 0; i < 20; ++i) pairs[i].before_s = pairs[i].after_s = 0.0525 * static_cast<double>(i);
  EXPECT_LT(variance_by_updates(Weights(20, 1.0 / 20), pairs, updates), 0.2 * one);
}

}  // namespace
}  // namespace tachproof

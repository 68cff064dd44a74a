// Closed forms of flicker, Allan deviations and the tests of a rate, against
// published values.
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <numbers>
#include <numeric>
#include <sstream>
#include <string>
#include <vector>

#include "core/base/allan.h"
#include "core/base/random.h"
#include "core/base/rate_test.h"
#include "core/flicker/level_crossing.h"

namespace tachproof {
namespace {

// The numbers of a CSV file of tests/data, without its comments and header.
std::vector<std::vector<double>> table(const std::string& name) {
  std::ifstream in(TACHPROOF_TEST_DATA "/" + name);
  std::vector<std::vector<double>> rows;
  for (std::string line; std::getline(in, line);) {
    if (line.empty() || line.find_first_of("#abcdefghijklmopqrstuvwxyz_") == 0) continue;
    std::vector<double> row;
    std::istringstream fields(line);
    for (std::string field; std::getline(fields, field, ',');)
      row.push_back(std::strtod(field.c_str(), nullptr));
    rows.push_back(row);
  }
  return rows;
}

TEST(LevelCrossing, FirstPassagesOfAnOrnsteinUhlenbeckProcessAsPublished) {
  // OEIS A249417 + A249418 (after S. Finch 2004): 0 -> 1 and 1 -> 0 together
  // 2.09340664967832680692 + 0.90190801265280650063. Out and back is twice that.
  const double passage = 2.09340664967832680692 + 0.90190801265280650063;
  EXPECT_NEAR(cycles_of_ornstein_uhlenbeck(-1, 1, 1, 1), 1 / (2 * passage), 1e-14);
  EXPECT_NEAR(std::numbers::pi * erfi(1 / std::numbers::sqrt2), passage, 1e-13);
}

TEST(LevelCrossing, OrnsteinUhlenbeckTableIsMet) {
  const auto rows = table("ou_hysteresis.csv");
  ASSERT_GE(rows.size(), 8u);
  for (const auto& row : rows) {
    const double rate = cycles_of_ornstein_uhlenbeck(-3 * row[0], 3 * row[0], 3, 0.25) * 0.25;
    EXPECT_NEAR(rate / row[4], 1, 1e-12) << row[0];
  }
}

TEST(LevelCrossing, ADeadbandIsWorstHeldInItsMiddle) {
  const double middle = cycles_of_ornstein_uhlenbeck(-1, 1, 1, 1);
  for (const double off : {-1.0, -0.3, 0.3, 1.0})
    EXPECT_LT(cycles_of_ornstein_uhlenbeck(off - 1, off + 1, 1, 1), middle);
}

TEST(LevelCrossing, BeyondWhatADoubleHoldsNothingHappens) {
  EXPECT_EQ(cycles_of_ornstein_uhlenbeck(-40, 40, 1, 1), 0);
  EXPECT_EQ(cycles_of_independent_readings(-50, 50, 1), 0);
}

TEST(LevelCrossing, SampledOrnsteinUhlenbeckTableIsMetWhereItIsSaidToHold) {
  int rows = 0;
  for (const auto& row : table("ar1_hysteresis.csv")) {
    const double tau = row[0], b = row[2], rate = row[3];
    if (tau < 10 || b < 0.25) continue;
    const double found = cycles_of_sampled_ornstein_uhlenbeck(-b, b, 1, tau, 1);
    EXPECT_NEAR(found / rate, 1, tau >= 20 ? 6e-4 : 2e-3) << tau << ' ' << b;
    ++rows;
  }
  EXPECT_GE(rows, 10);
}

TEST(LevelCrossing, WithoutADeadbandTheCosineFormula) {
  // B. Kedem, Proc. IEEE 74 (1986) 1477: sign changes per step arccos(r) / pi.
  EXPECT_NEAR(2 * cycles_without_deadband(0), 0.5, 1e-15);
  EXPECT_NEAR(2 * cycles_without_deadband(0.5), 1.0 / 3, 1e-15);
  EXPECT_NEAR(2 * cycles_without_deadband(0.99), 0.045053414, 1e-9);
  for (const auto& row : table("ar1_hysteresis.csv")) {
    if (row[2] != 0) continue;
    EXPECT_NEAR(cycles_without_deadband(row[1]) / row[3], 1, 1e-6);
  }
}

TEST(LevelCrossing, RicesRatesAsHePrintedThem) {
  // Rice 1945, section 3.3 (from memory): an ideal low-pass of 1 Hz has 1.155
  // zeros a second; a band of 300 to 3400 Hz 4110.150.
  const auto zeros = [](double from_hz, double to_hz) {
    const double slope2 = 4 * std::numbers::pi * std::numbers::pi *
                          (std::pow(to_hz, 3) - std::pow(from_hz, 3)) / (3 * (to_hz - from_hz));
    return 2 * rice_up_crossings_per_s(0, 1, std::sqrt(slope2));
  };
  EXPECT_NEAR(zeros(0, 1), 1.154700538, 1e-9);
  EXPECT_NEAR(zeros(300, 3400), 4110.150038, 1e-6);
  EXPECT_NEAR(rice_up_crossings_per_s(6, 3, 1) / rice_up_crossings_per_s(0, 3, 1), 0.135335283, 1e-9);
}

TEST(LevelCrossing, CrossingsOfReadingsAreRicesWhereTheyComeClose) {
  // A random-phase process of slope 1 per sd: the correlation over a step d is
  // cos(d), and crossings per step come to Rice's rate times d.
  for (const double level : {0.0, 0.5, 1.0, 2.0, 4.0})
    for (const double step : {1e-2, 1e-3})
      EXPECT_NEAR(
          up_crossings_of_readings(level, 1, std::cos(step)) / (rice_up_crossings_per_s(level, 1, 1) * step),
          1, level * level * step * step + 1e-9);
}

TEST(LevelCrossing, CrossingsOfReadingsInTheCasesThatAreKnown) {
  for (const double r : {-0.9, -0.5, 0.0, 0.7, 0.999})
    EXPECT_NEAR(up_crossings_of_readings(0, 2, r), cycles_without_deadband(r), 1e-12) << r;
  // Independent ones: under, then not under.
  for (const double level : {0.5, 1.0, 3.0}) {
    const double p = 0.5 * std::erfc(level / std::numbers::sqrt2);
    EXPECT_NEAR(up_crossings_of_readings(3 * level, 3, 0) / (p * (1 - p)), 1, 1e-9) << level;
  }
  // One that turns to its opposite each time passes a level whenever it lies
  // beyond it on the far side.
  EXPECT_NEAR(up_crossings_of_readings(1, 1, -1), 0.5 * std::erfc(1 / std::numbers::sqrt2), 1e-6);
  EXPECT_EQ(up_crossings_of_readings(1, 1, 1), 0);
}

TEST(LevelCrossing, IndependentReadingsAreCountedExactly) {
  Random random(5);
  bool on = false;
  int cycles = 0;
  const int readings = 2'000'000;
  for (int i = 0; i < readings; ++i) {
    const double x = 2 * random.normal();
    if (!on && x >= 1.5) on = true, ++cycles;
    if (on && x < -0.5) on = false;
  }
  const double expected = readings * cycles_of_independent_readings(-0.5, 1.5, 2);
  EXPECT_NEAR(cycles, expected, 4 * std::sqrt(expected));
}

// SP 1065: phase from frequency at unit spacing.
std::vector<double> phase_of(const std::vector<double>& frequency) {
  std::vector<double> phase{0};
  for (const double y : frequency) phase.push_back(phase.back() + y);
  return phase;
}

TEST(Allan, TheTenPointsOfNbs) {
  // NIST SP 1065, page 107 (values as in allantools' test_nbs14_10point).
  const auto rows = table("nbs10_phase_freq.csv");
  std::vector<double> frequency;
  for (std::size_t i = 0; i < 9; ++i) frequency.push_back(rows[i][2]);
  const std::vector<double> phase = phase_of(frequency);
  EXPECT_NEAR(allan_deviation(phase, 1, 1), 91.22945, 5e-6);
  EXPECT_NEAR(allan_deviation(phase, 1, 2), 115.8082, 5e-5);
  EXPECT_NEAR(overlapping_allan_deviation(phase, 1, 1), 91.22945, 5e-6);
  EXPECT_NEAR(overlapping_allan_deviation(phase, 1, 2), 85.95287, 5e-6);
  EXPECT_NEAR(modified_allan_deviation(phase, 1, 1), 91.22945, 5e-6);
  EXPECT_NEAR(modified_allan_deviation(phase, 1, 2), 74.78849, 5e-6);
}

TEST(Allan, TheThousandPointsOfNist) {
  // NIST SP 1065, page 108, table 31.
  std::vector<double> frequency;
  for (const auto& row : table("nbs1000.csv")) frequency.push_back(row[2]);
  ASSERT_EQ(frequency.size(), 1000u);
  const std::vector<double> phase = phase_of(frequency);
  EXPECT_NEAR(allan_deviation(phase, 1, 1), 2.922319e-01, 5e-8);
  EXPECT_NEAR(allan_deviation(phase, 1, 10), 9.965736e-02, 5e-9);
  EXPECT_NEAR(allan_deviation(phase, 1, 100), 3.897804e-02, 5e-9);
  EXPECT_NEAR(overlapping_allan_deviation(phase, 1, 1), 2.922319e-01, 5e-8);
  EXPECT_NEAR(overlapping_allan_deviation(phase, 1, 10), 9.159953e-02, 5e-9);
  EXPECT_NEAR(overlapping_allan_deviation(phase, 1, 100), 3.241343e-02, 5e-9);
  EXPECT_NEAR(modified_allan_deviation(phase, 1, 10), 6.172376e-02, 5e-9);
  EXPECT_NEAR(modified_allan_deviation(phase, 1, 100), 2.170921e-02, 5e-9);
}

TEST(Allan, ARecordTooShortHasNone) {
  const std::vector<double> phase(6, 0.0);
  EXPECT_TRUE(std::isnan(allan_deviation(phase, 1, 3)));
  EXPECT_TRUE(std::isnan(modified_allan_deviation(phase, 1, 3)));
  EXPECT_TRUE(std::isnan(overlapping_allan_deviation(phase, 1, 0)));
  EXPECT_EQ(overlapping_allan_deviation(phase, 1, 2), 0);
}

TEST(Allan, JitterAndWanderAreMetOnAverage) {
  // Phase: white noise plus the integral of an AR(1) speed.
  Random random(11);
  const double spacing = 0.01, tau = 0.3, share = 1e-3, jitter = 4e-6;
  const double r = std::exp(-spacing / tau);
  std::vector<double> phase;
  double drift = 0, w = share * random.normal();
  for (int i = 0; i < 400'000; ++i) {
    phase.push_back(drift + jitter * random.normal());
    drift += w * spacing;
    w = r * w + share * std::sqrt(1 - r * r) * random.normal();
  }
  for (const std::size_t m : {1u, 10u, 100u, 1000u}) {
    const double t = static_cast<double>(m) * spacing;
    EXPECT_NEAR(
        overlapping_allan_deviation(phase, spacing, m) / expected_allan_deviation(t, jitter, share, tau), 1,
        0.04)
        << m;
  }
  EXPECT_NEAR(expected_allan_deviation(1e-4 * tau, 0, share, tau),
              expected_allan_deviation(1.1e-3 * tau, 0, share, tau) * std::sqrt(1e-4 / 1.1e-3), share * 1e-5);
}

TEST(PoissonSequential, LinesAreWalds) {
  // Wald, Sequential Analysis (1947), his formulas; figures computed.
  const PoissonSequential a(1, 2, 0.05, 0.05);
  EXPECT_NEAR(a.slope(), 1.442695, 1e-6);
  EXPECT_NEAR(a.fail_above(), 4.247928, 1e-6);
  EXPECT_NEAR(a.pass_below(), -4.247928, 1e-6);
  EXPECT_NEAR(a.earliest_pass(), 2.944439, 1e-6);
  const PoissonSequential b(1.0 / 3, 1, 0.1, 0.1);
  EXPECT_NEAR(b.slope(), 0.606826, 1e-6);
  EXPECT_NEAR(b.fail_above(), 2, 1e-12);
  EXPECT_NEAR(b.earliest_pass(), 3.295837, 1e-6);
}

struct Ended {
  Verdict verdict = Verdict::undecided;
  double time = 0;
};

// One unit with events at `rate`, looked at after every event and every `look`.
template <class Decide>
Ended watch(Random& random, double rate, double until, double look, const Decide& decide) {
  std::uint64_t events = 0;
  double next = -std::log(random.uniform()) / rate;
  for (double t = look;; t += look) {
    t = std::min(t, until);
    for (; next <= t; next -= std::log(random.uniform()) / rate) {
      ++events;
      if (const Verdict v = decide(events, next); v != Verdict::undecided) return {v, next};
    }
    if (const Verdict v = decide(events, t); v != Verdict::undecided || t == until) return {v, t};
  }
}

TEST(PoissonSequential, TakesAsLongAsWaldSays) {
  // Rates 1 and 2, both chances 0.05. Wald's E[T] is 8.636 and 6.860; the
  // overshoot at the upper line adds 2 % and 9 % (simulated, 4e5 runs: 8.80 and
  // 7.45, false fails 0.040, right fails 0.949).
  const PoissonSequential test(1, 2, 0.05, 0.05);
  const auto decide = [&](std::uint64_t n, double t) { return test.decide(static_cast<double>(n), t); };
  Random random(17);
  const int units = 4000;
  double good_time = 0, bad_time = 0;
  int false_fails = 0, fails = 0;
  for (int i = 0; i < units; ++i) {
    const Ended good = watch(random, 1, 1e9, 0.01, decide);
    const Ended bad = watch(random, 2, 1e9, 0.01, decide);
    good_time += good.time / units;
    bad_time += bad.time / units;
    false_fails += good.verdict == Verdict::fail;
    fails += bad.verdict == Verdict::fail;
  }
  EXPECT_NEAR(good_time, 8.80, 0.35);
  EXPECT_NEAR(bad_time, 7.45, 0.35);
  EXPECT_LE(false_fails, 0.05 * units);
  EXPECT_GE(fails, 0.935 * units);
}

TEST(RateTest, OneSidedLimitsAreThePublishedOnes) {
  // PDG Review of Particle Physics, table of Poisson limits (from memory): 90 %
  // and 95 %, n = 0..3. Hanley & Lippman-Hand, JAMA 249 (1983) 1743: 3 for none.
  const double upper90[] = {2.30, 3.89, 5.32, 6.68}, upper95[] = {3.00, 4.74, 6.30, 7.75};
  const double lower90[] = {0, 0.105, 0.532, 1.10}, lower95[] = {0, 0.051, 0.355, 0.818};
  for (int n = 0; n < 4; ++n) {
    EXPECT_NEAR(one_sided_upper(n, 0.90), upper90[n], 0.005);
    EXPECT_NEAR(one_sided_upper(n, 0.95), upper95[n], 0.005);
    EXPECT_NEAR(one_sided_lower(n, 0.90), lower90[n], 0.005);
    EXPECT_NEAR(one_sided_lower(n, 0.95), lower95[n], 0.005);
  }
}

TEST(RateTest, ClearUnitsEndEarlyAndTheOthersAtTheEnd) {
  const RateTest test(1, 0.95, 60);
  EXPECT_EQ(test.decide(0, 5), Verdict::undecided);
  EXPECT_EQ(test.decide(0, 8), Verdict::pass);
  EXPECT_EQ(test.decide(8, 1), Verdict::fail);
  EXPECT_EQ(test.decide(4, 1), Verdict::undecided);
  EXPECT_EQ(test.decide(44, 59), Verdict::undecided);
  EXPECT_EQ(test.decide(44, 60), Verdict::pass);  // upper limit of 44 at 97.5 %: 59.1
  EXPECT_EQ(test.decide(60, 60), Verdict::undecided);
  EXPECT_EQ(test.decide(78, 60), Verdict::fail);  // lower limit of 78 at 97.5 %: 61.7
}

TEST(RateTest, NothingIsDecidedWithoutTime) {
  const RateTest test(1, 0.95, 0);
  EXPECT_EQ(test.decide(0, 0), Verdict::undecided);
}

TEST(RateTest, TheShortestRunIsOneThatAQuietUnitPasses) {
  const double shortest = RateTest::shortest_min(0.5, 0.95);
  EXPECT_NEAR(shortest, 3.688879454 / 0.5, 1e-8);  // Garwood's upper limit of none, two-sided 95 %
  EXPECT_EQ(RateTest(0.5, 0.95, shortest).decide(0, shortest), Verdict::pass);
  EXPECT_EQ(RateTest(0.5, 0.95, 0.99 * shortest).decide(0, 0.99 * shortest), Verdict::undecided);
}

TEST(RateTest, FalseWordsStayWithinWhatTheConfidencePromises) {
  // Units on the limit itself, where both words are wrong most often: of a good
  // unit and of a bad one that cannot be told apart, at most 5 % each.
  const int units = std::getenv("TACHPROOF_UNITS") ? std::atoi(std::getenv("TACHPROOF_UNITS")) : 2000;
  const RateTest test(1, 0.95, 40);
  const auto decide = [&](std::uint64_t n, double t) { return test.decide(n, t); };
  Random random(23);
  int passes = 0, fails = 0, good_passes = 0, bad_fails = 0;
  double clear_time = 0;
  for (int i = 0; i < units; ++i) {
    const Ended at_limit = watch(random, 1, 40, 0.1, decide);
    passes += at_limit.verdict == Verdict::pass;
    fails += at_limit.verdict == Verdict::fail;
    const Ended good = watch(random, 0.2, 40, 0.1, decide);
    const Ended bad = watch(random, 4, 40, 0.1, decide);
    good_passes += good.verdict == Verdict::pass;
    bad_fails += bad.verdict == Verdict::fail;
    clear_time += (good.time + bad.time) / (2.0 * units);
  }
  const double allowed = 0.05 * units + 3 * std::sqrt(0.05 * units);
  EXPECT_LE(passes, allowed);
  EXPECT_LE(fails, allowed);
  EXPECT_GE(passes + fails, 0.02 * units);  // it is no test that never speaks
  EXPECT_GE(good_passes, 0.98 * units);
  EXPECT_GE(bad_fails, 0.98 * units);
  EXPECT_LT(clear_time, 10);
}

TEST(RateTest, EventsThatComeInBurstsAreCountedForWhatTheyAreWorth) {
  // Bursts of six at a time, one in six minutes: as many events as the limit,
  // with six times a Poisson count's variance.
  const int units = 1000;
  const auto false_words = [&](double dispersion) {
    const RateTest test(1, 0.95, 40, dispersion);
    const auto decide = [&](std::uint64_t bursts, double t) { return test.decide(6 * bursts, t); };
    Random random(29);
    int passes = 0, fails = 0;
    for (int i = 0; i < units; ++i) {
      const Verdict verdict = watch(random, 1.0 / 6, 40, 0.1, decide).verdict;
      passes += verdict == Verdict::pass;
      fails += verdict == Verdict::fail;
    }
    return std::pair(passes, fails);
  };
  const double allowed = 0.05 * units + 3 * std::sqrt(0.05 * units);
  const auto [passes, fails] = false_words(6);
  EXPECT_LE(passes, allowed);
  EXPECT_LE(fails, allowed);
  const auto [wrong_passes, wrong_fails] = false_words(1);
  EXPECT_GT(wrong_passes, 3 * allowed);
  EXPECT_GT(wrong_fails, 3 * allowed);
}

}  // namespace
}  // namespace tachproof

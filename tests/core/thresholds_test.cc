#include "core/judge/thresholds.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "core/base/statistics.h"

namespace tachproof {
namespace {

Visit visit_at(std::size_t boundary, Direction direction, double threshold, double rate, double response_s,
               double noise_rpm = 0) {
  Visit v;
  v.boundary = boundary;
  v.direction = direction;
  v.spacing_s = 0.005;
  for (std::size_t k = 0; k < Visit::samples; ++k)
    v.rpm_before[k] = threshold + noise_rpm + rate * (response_s - v.spacing_s * static_cast<double>(k));
  return v;
}

constexpr FitSetup allowing(double response_from_s, double response_to_s) {
  FitSetup setup;
  setup.response_from_s = response_from_s;
  setup.response_to_s = response_to_s;
  return setup;
}
constexpr FitSetup setup = allowing(0, 0.120);

TEST(Thresholds, TwoRatesTellThresholdAndResponseApart) {
  // 3000 and 2993 rpm, 40 ms; exact inputs come back exactly but for the pull
  // of what is known beforehand of the response.
  const std::vector<Visit> visits = {
      visit_at(1, Direction::rising, 3000, 10, 0.040), visit_at(1, Direction::rising, 3000, 300, 0.040),
      visit_at(1, Direction::falling, 2993, -10, 0.040), visit_at(1, Direction::falling, 2993, -300, 0.040)};
  const ThresholdFits fits = fit_thresholds(visits, 1, setup);
  EXPECT_NEAR(fits.fits[2].threshold_rpm, 3000, 0.02);
  EXPECT_NEAR(fits.fits[3].threshold_rpm, 2993, 0.02);
  EXPECT_NEAR(fits.fits[2].response_s, 0.040, 0.001);
  EXPECT_NEAR(fits.middles[1].threshold_rpm, 2996.5, 0.001);
}

TEST(Thresholds, OneRateLeavesTheResponseInTheUncertainty) {
  const std::vector<Visit> visits = {visit_at(1, Direction::rising, 3000, 150, 0.020)};
  const ThresholdFits fits = fit_thresholds(visits, 1, setup);
  // 120 ms of allowed response at 150 rpm/s: a rectangle 18 rpm wide, so
  // U = 2 * 18 / sqrt(12) = 10.4 rpm and a little scatter (GUM 4.3.7).
  EXPECT_NEAR(fits.fits[2].expanded_uncertainty_rpm, 10.4, 0.3);
  EXPECT_LT(std::abs(fits.fits[2].threshold_rpm - 3000), fits.fits[2].expanded_uncertainty_rpm);
}

TEST(Thresholds, BothWaysAtOneRateTellTheMiddleWhateverTheResponse) {
  const std::vector<Visit> visits = {visit_at(1, Direction::rising, 3005, 150, 0.020),
                                     visit_at(1, Direction::falling, 2998, -150, 0.020)};
  const ThresholdFits fits = fit_thresholds(visits, 1, setup);
  EXPECT_NEAR(fits.middles[1].threshold_rpm, 3001.5, 0.01);
  // How seldom the unit updates, two visits leave open.
  EXPECT_LT(fits.middles[1].expanded_uncertainty_rpm, 2.5);
  EXPECT_GT(fits.fits[2].expanded_uncertainty_rpm, 5.0);
}

TEST(Thresholds, WhatNeverHappenedIsNotMeasured) {
  const ThresholdFits fits = fit_thresholds({visit_at(2, Direction::rising, 3000, 10, 0.03)}, 2, setup);
  EXPECT_TRUE(std::isnan(fits.fits[2].threshold_rpm));
  EXPECT_EQ(fits.fits[2].visits, 0);
  EXPECT_TRUE(std::isnan(fits.fits[5].threshold_rpm));
  EXPECT_EQ(fits.fits[4].visits, 1);
}

TEST(Thresholds, TheStatedIntervalHoldsTheTrueThresholdInNineteenOfTwenty) {
  // 600 units with random thresholds, response and update phase, 5
  // boundaries, crossed at 8 and 100 rpm/s both ways, readings rounded to 1 rpm
  // and updated every 10 ms. At least 95 % less three standard deviations.
  std::mt19937_64 random(11);
  std::uniform_real_distribution<double> unit(0, 1);
  int inside = 0, all = 0;
  for (int u = 0; u < 600; ++u) {
    const double response = 0.01 + 0.1 * unit(random);
    std::vector<Visit> visits;
    std::vector<double> truth;
    for (std::size_t b = 1; b <= 5; ++b) {
      const double threshold = 1000.0 * static_cast<double>(b) + 6 * unit(random) - 3;
      for (const Direction d : {Direction::rising, Direction::falling}) {
        const double at = d == Direction::rising ? threshold : threshold - 7;
        truth.push_back(at);
        for (const double rate : {8.0, 8.0, 100.0})
          visits.push_back(visit_at(b, d, at, d == Direction::rising ? rate : -rate,
                                    response + 0.010 * (unit(random) - 0.5), unit(random) - 0.5));
      }
    }
    const ThresholdFits fits = fit_thresholds(visits, 5, setup);
    for (std::size_t i = 0; i < truth.size(); ++i) {
      const ThresholdFit& fit = fits.fits[i + 2];
      ++all;
      if (std::abs(fit.threshold_rpm - truth[i]) <= fit.expanded_uncertainty_rpm) ++inside;
    }
  }
  EXPECT_GE(inside, 0.95 * all - 3 * std::sqrt(0.05 * 0.95 * all));
}

TEST(Thresholds, TheScatterOfAUnitIsToldFromItsVisits) {
  // 40 boundaries, each crossed four times at two rates both ways by a unit
  // with 0.5 rpm of noise and 6 ms of spread: found again within a fifth.
  std::mt19937_64 random(5);
  std::normal_distribution<double> normal(0, 1);
  std::vector<Visit> visits;
  constexpr std::size_t boundaries = 40;
  for (std::size_t b = 1; b <= boundaries; ++b)
    for (const Direction d : {Direction::rising, Direction::falling})
      for (const double rate : {60.0, 60.0, 400.0, 400.0})
        visits.push_back(visit_at(b, d, 3000, d == Direction::rising ? rate : -rate,
                                  0.040 + 0.006 * normal(random), 0.5 * normal(random)));
  const ThresholdFits fits = fit_thresholds(visits, boundaries, setup);
  EXPECT_TRUE(fits.scatter_seen);
  EXPECT_NEAR(std::sqrt(fits.scatter.rpm2), 0.5, 0.1);
  EXPECT_NEAR(std::sqrt(fits.scatter.s2), 0.006, 0.0012);
  EXPECT_GT(fits.scatter.rpm2_dof, 10);
}

TEST(Thresholds, ABoundaryWithSlowPulsesIsNotHeldToTheResponseOfTheOthers) {
  // One pulse per revolution: 133 ms apart at 450 rpm, at most 20 ms elsewhere. A unit that
  // waits for its next pulse answers after 130 ms there, and after 30 ms elsewhere.
  FitSetup slow = allowing(0, 0.150);
  slow.pulses_per_rev = 1;
  std::vector<Visit> visits;
  for (std::size_t b = 2; b <= 6; ++b)
    for (const double rate : {8.0, 100.0, -8.0, -100.0})
      visits.push_back(visit_at(b, rate > 0 ? Direction::rising : Direction::falling,
                                1000.0 * static_cast<double>(b + 1), rate, 0.030));
  for (const double rate : {50.0, -50.0})
    visits.push_back(visit_at(1, rate > 0 ? Direction::rising : Direction::falling, 450, rate, 0.130));
  const ThresholdFits fits = fit_thresholds(visits, 6, slow);
  EXPECT_LE(std::abs(fits.fits[2].threshold_rpm - 450), fits.fits[2].expanded_uncertainty_rpm);
  EXPECT_LE(std::abs(fits.fits[3].threshold_rpm - 450), fits.fits[3].expanded_uncertainty_rpm);
  EXPECT_LT(fits.fits[4].expanded_uncertainty_rpm, 2);
}

TEST(Thresholds, TheUncertaintyIsItsBudgetAddedUp) {
  std::vector<Visit> visits;
  for (const double rate : {10.0, 10.5, 300.0, 310.0, 300.0, 290.0})
    visits.push_back(visit_at(1, Direction::rising, 3000, rate, 0.040, 0.01 * rate));
  FitSetup bench = setup;
  bench.bench.clock_share = 30e-6;
  const ThresholdFit fit = fit_thresholds(visits, 1, bench).fits[2];
  WelchSatterthwaite all;  // GUM 5.1.2 and G.4
  bool crystal = false;
  for (const BudgetLine& line : fit.budget) {
    all.add(line.standard_uncertainty_rpm, line.dof);
    if (line.component == "source crystal") {
      crystal = true;
      EXPECT_NEAR(line.standard_uncertainty_rpm, 0.09, 1e-3);
    }
  }
  EXPECT_TRUE(crystal);
  EXPECT_NEAR(fit.expanded_uncertainty_rpm, fit.coverage_factor * all.combined(), 1e-12);
}

TEST(Thresholds, DifferentResponsesUpAndDownAreToldApart) {
  // 6 ms up and 55 ms down, as a survey would pass three boundaries.
  std::vector<Visit> visits;
  for (std::size_t b = 1; b <= 3; ++b)
    for (const double rate : {60.0, 300.0}) {
      visits.push_back(visit_at(b, Direction::rising, 3000, rate, 0.006));
      visits.push_back(visit_at(b, Direction::falling, 2993, -rate, 0.055));
    }
  const ThresholdFits fits = fit_thresholds(visits, 3, setup);
  EXPECT_TRUE(fits.responses_apart);
  EXPECT_NEAR(fits.fits[2].threshold_rpm, 3000, 0.1);
  EXPECT_NEAR(fits.fits[3].threshold_rpm, 2993, 0.1);
  EXPECT_NEAR(fits.fits[2].response_s, 0.006, 0.002);
  EXPECT_NEAR(fits.fits[3].response_s, 0.055, 0.002);
  EXPECT_NEAR(fits.responses[2].response_s, 0.006, 0.001);
  EXPECT_NEAR(fits.responses[3].response_s, 0.055, 0.001);
}

TEST(Thresholds, TheSameResponseUpAndDownIsTakenAsOne) {
  std::vector<Visit> visits;
  for (std::size_t b = 1; b <= 3; ++b)
    for (const double rate : {60.0, 300.0, -60.0, -300.0})
      visits.push_back(visit_at(b, rate > 0 ? Direction::rising : Direction::falling, 3000, rate, 0.030));
  EXPECT_FALSE(fit_thresholds(visits, 3, setup).responses_apart);
}

TEST(Thresholds, AResponseThatNothingTellsIsNotMeasured) {
  const ThresholdFits fits = fit_thresholds({visit_at(1, Direction::rising, 3000, 150, 0.020)}, 1, setup);
  EXPECT_FALSE(fits.responses[2].measured);
  EXPECT_TRUE(std::isnan(fits.responses[2].response_s));
  EXPECT_TRUE(std::isnan(fits.responses[2].expanded_uncertainty_s));
  EXPECT_TRUE(std::isnan(fits.fits[2].response_s));
  EXPECT_TRUE(std::isnan(fits.fits[2].response_uncertainty_s));
  EXPECT_FALSE(std::isnan(fits.fits[2].threshold_rpm));
}

TEST(Thresholds, AResponseAboveTheLimitIsShownWhateverIsAllowed) {
  // 150 ms where 100 are allowed, at two rates, by a unit that updates every 20 ms.
  FitSetup to_100 = allowing(0, 0.100);
  std::vector<Visit> visits;
  double phase = 0;
  for (std::size_t b = 1; b <= 3; ++b)
    for (const double rate : {10.0, 100.0, -10.0, -100.0}) {
      phase = std::fmod(phase + 0.618, 1.0);
      Visit v =
          visit_at(b, rate > 0 ? Direction::rising : Direction::falling, 3000, rate, 0.140 + 0.020 * phase);
      v.spacing_s = 0.125 / (Visit::samples - 1);
      for (std::size_t k = 0; k < Visit::samples; ++k)
        v.rpm_before[k] = v.rpm_before[0] - rate * v.spacing_s * static_cast<double>(k);
      visits.push_back(v);
    }
  const ThresholdFits fits = fit_thresholds(visits, 3, to_100);
  for (std::size_t way = 2; way < 8; ++way) {
    const ResponseFit& response = fits.responses[way];
    ASSERT_TRUE(response.measured);
    EXPECT_NEAR(response.response_s, 0.150, response.expanded_uncertainty_s);
    EXPECT_GT(response.response_s - response.expanded_uncertainty_s, 0.100);
    EXPECT_EQ(response.visits, 2);
    EXPECT_GE(response.coverage_factor, 1.96);
    EXPECT_NEAR(fits.fits[way].threshold_rpm, 3000, fits.fits[way].expanded_uncertainty_rpm);
  }
}

TEST(Thresholds, StepsAloneTellTheResponseButNoThreshold) {
  std::vector<Visit> visits;
  for (const double s : {0.031, 0.036, 0.028}) {
    Visit v = visit_at(1, Direction::falling, 3000, 0, 0);
    v.step = true;
    v.step_response_s = s;
    visits.push_back(v);
  }
  const ThresholdFits fits = fit_thresholds(visits, 1, setup);
  ASSERT_TRUE(fits.responses[3].measured);
  EXPECT_NEAR(fits.responses[3].response_s, 0.0317, 0.0001);
  EXPECT_GT(fits.responses[3].expanded_uncertainty_s, 0.002);
  EXPECT_FALSE(fits.responses[2].measured);
  EXPECT_TRUE(std::isnan(fits.fits[3].threshold_rpm));
}

TEST(Thresholds, TheWidthIsRisingLessFallingAndTheClockCancels) {
  // A clock of 300 ppm makes 0.9 rpm of each threshold, and nothing of a width
  // of nothing: a deadband that is missing is certain.
  FitSetup bad_clock = setup;
  bad_clock.bench.clock_share = 300e-6;
  std::vector<Visit> visits;
  for (const double rate : {10.0, 12.0, 100.0, -10.0, -12.0, -100.0})
    visits.push_back(visit_at(1, rate > 0 ? Direction::rising : Direction::falling, 3000, rate, 0.030));
  const ThresholdFits fits = fit_thresholds(visits, 1, bad_clock);
  EXPECT_GT(fits.fits[2].expanded_uncertainty_rpm, 1.8);
  EXPECT_NEAR(fits.widths[1].width_rpm, 0, 0.05);
  EXPECT_LT(fits.widths[1].expanded_uncertainty_rpm, 1.2);
  EXPECT_GE(fits.widths[1].coverage_factor, 1.96);
  EXPECT_GE(fits.widths[1].dof, 1);
}

TEST(Thresholds, OneWayAloneHasNoWidth) {
  const ThresholdFits fits = fit_thresholds({visit_at(1, Direction::rising, 3000, 10, 0.030)}, 1, setup);
  EXPECT_TRUE(std::isnan(fits.widths[1].width_rpm));
  EXPECT_TRUE(std::isnan(fits.widths[1].expanded_uncertainty_rpm));
}

TEST(Thresholds, AChangeDatedByAnIntervalCountsInItsMiddleAndWidensTheUncertainty) {
  // All within 80 ms before t: at 50 rpm/s 4 rpm wide, 50 * 0.08 / sqrt(12) = 1.155 rpm
  // standard (rectangular, GUM 4.3.7).
  Visit sharp = visit_at(1, Direction::rising, 3000, 50, 0.030);
  FitSetup known = allowing(0.030, 0.030);
  const ThresholdFit without = fit_thresholds({sharp}, 1, known).fits[2];
  Visit dated = visit_at(1, Direction::rising, 3000, 50, 0.030 + 0.040);
  dated.blur_s = 0.080;
  const ThresholdFit fit = fit_thresholds({dated}, 1, known).fits[2];
  EXPECT_NEAR(fit.threshold_rpm, without.threshold_rpm, 1e-6);
  EXPECT_GT(fit.expanded_uncertainty_rpm, without.expanded_uncertainty_rpm);
  double line_rpm = 0;
  for (const BudgetLine& line : fit.budget)
    if (line.component == "change dated by an interval") line_rpm = line.standard_uncertainty_rpm;
  EXPECT_NEAR(line_rpm, 1.155, 0.001);
}

// Held at one rpm before the ramp: what was before the corner says nothing of the visit.
TEST(Thresholds, AVisitOfAShortLeadTellsWhatALongOneDoes) {
  const std::vector<Visit> longer = {
      visit_at(1, Direction::rising, 3000, 10, 0.010), visit_at(1, Direction::rising, 3000, 300, 0.010),
      visit_at(1, Direction::falling, 2993, -10, 0.010), visit_at(1, Direction::falling, 2993, -300, 0.010)};
  std::vector<Visit> shorter = longer;
  for (Visit& visit : shorter) {
    constexpr std::size_t corner = 6;
    for (std::size_t k = corner; k < Visit::samples; ++k) visit.rpm_before[k] = visit.rpm_before[corner];
    visit.kept_s = visit.spacing_s * corner;
  }
  const ThresholdFits a = fit_thresholds(longer, 1, setup), b = fit_thresholds(shorter, 1, setup);
  for (const std::size_t way : {2u, 3u}) {
    EXPECT_NEAR(b.fits[way].threshold_rpm, a.fits[way].threshold_rpm, 1e-6);
    EXPECT_NEAR(b.fits[way].expanded_uncertainty_rpm, a.fits[way].expanded_uncertainty_rpm, 1e-6);
  }
}

TEST(Thresholds, SharpVisitsCountForMoreThanThoseDatedByAnInterval) {
  std::vector<Visit> visits{visit_at(1, Direction::rising, 3000, 20, 0.030),
                            visit_at(1, Direction::rising, 3000, 20, 0.030)};
  visits[1].blur_s = 0.400;  // its middle is 4 rpm lower
  const FitSetup known = allowing(0.030, 0.030);
  EXPECT_NEAR(fit_thresholds(visits, 1, known).fits[2].threshold_rpm, 3000, 1);
}

}  // namespace
}  // namespace tachproof

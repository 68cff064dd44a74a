// Noise on the pulse train. Seeds are fixed; statistical bounds are 4 standard
// errors of the estimate, whose formula stands beside each.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "core/signal/pulse_train.h"
#include "tests/core/statistics.h"
#include "tests/core/trains.h"

namespace tachproof {
namespace {

using test::edges_of;

Profile hold(double rpm, double s) { return Profile(std::vector<Step>{Hold{rpm, from_seconds(s)}}); }

// A ramp, a wave and a slow stretch.
Profile varied() {
  return Profile(std::vector<Step>{RampByRate{8200, 4000}, Wave{6000, 900, ns_per_s / 2, ns_per_s},
                                   Hold{120, ns_per_s}, Hold{0, ns_per_s}, Hold{3720, ns_per_s}});
}

std::vector<double> differences(const std::vector<Nanos>& a, const std::vector<Nanos>& b) {
  std::vector<double> d(a.size());
  for (std::size_t i = 0; i < a.size(); ++i) d[i] = static_cast<double>(a[i] - b[i]);
  return d;
}

TEST(PulseNoise, JittersEachEdgeByItselfRoundTheDueInstant) {
  const Profile profile = hold(6000, 1000);
  Noise noise;
  noise.jitter_us = 20;
  const std::vector<Nanos> due = edges_of(profile, 3);
  const std::vector<Nanos> got = edges_of(profile, 3, noise, 42);
  ASSERT_EQ(got.size(), due.size());
  const std::vector<double> jitter = differences(got, due);
  const double n = static_cast<double>(jitter.size());
  EXPECT_NEAR(test::mean(jitter), 0, 4 * 20e3 / std::sqrt(n));
  EXPECT_NEAR(test::sd(jitter), 20e3, 4 * 20e3 / std::sqrt(2 * n));
  for (std::size_t lag = 1; lag < 4; ++lag)
    EXPECT_NEAR(test::autocorrelation(jitter, lag), 0, 4 / std::sqrt(n)) << lag;
}

TEST(PulseNoise, WandersWithItsDeviationAndCorrelationTime) {
  const double rpm = 6000;
  const double sd = 30;
  const double tau = 0.4;
  const double duration = 4000;
  const Profile profile = hold(rpm, duration);
  Noise noise;
  noise.wander_rpm = sd;
  noise.wander_s = tau;
  const std::vector<Nanos> edges = edges_of(profile, 3, noise, 7);
  std::vector<double> wander;
  for (std::size_t i = 1; i < edges.size(); ++i)
    wander.push_back(20e9 / static_cast<double>(edges[i] - edges[i - 1]) - rpm);
  // An AR(1) of duration T has T / (2 tau) independent values' worth of mean
  // and T / tau of variance (Priestley, Spectral Analysis, 5.3; from memory).
  EXPECT_NEAR(test::mean(wander), 0, 4 * sd * std::sqrt(2 * tau / duration));
  EXPECT_NEAR(test::sd(wander), sd, 4 * sd * std::sqrt(tau / duration / 2));
  // exp(-dt / tau); Bartlett's variance of the estimate (Box and Jenkins,
  // 2.1.6; from memory).
  const double dt = duration / static_cast<double>(wander.size());
  const double phi = std::exp(-dt / tau);
  for (const std::size_t lag : {1u, 30u, 120u, 300u}) {
    const auto k = static_cast<double>(lag);
    const double r = std::pow(phi, k);
    const double variance = ((1 + phi * phi) * (1 - r * r) / (1 - phi * phi) - 2 * k * r * r) /
                            static_cast<double>(wander.size());
    EXPECT_NEAR(test::autocorrelation(wander, lag), r, 4 * std::sqrt(variance)) << lag;
  }
}

TEST(PulseNoise, LetsThePhaseWanderButNotTheSpeedFromTheProfile) {
  // After many correlation times the phase has strayed; the speed on the ramp
  // that follows is still that of the profile at that instant.
  const Profile profile(std::vector<Step>{Hold{3720, 3000 * ns_per_s}, RampByRate{8200, 300}});
  Noise noise;
  noise.wander_rpm = 5;
  noise.wander_s = 0.5;
  const std::vector<Nanos> due = edges_of(profile, 3);
  const std::vector<Nanos> edges = edges_of(profile, 3, noise, 11);
  // sd of the turns gained: sd sqrt(2 tau T) / 60 = 4.6 turns, here 13.7 pulses.
  const auto strayed = std::abs(static_cast<double>(due.size()) - static_cast<double>(edges.size()));
  EXPECT_GE(strayed, 1);
  EXPECT_LE(strayed, 4 * 13.7);
  for (std::size_t i = edges.size() - 500; i < edges.size(); ++i) {
    const double rpm = 20e9 / static_cast<double>(edges[i] - edges[i - 1]);
    EXPECT_NEAR(rpm, profile.rpm_at((edges[i] + edges[i - 1]) / 2), 5 * 5) << i;
  }
}

TEST(PulseNoise, StaysSilentWhereTheEngineStandsWhateverTheWander) {
  Noise noise;
  noise.wander_rpm = 500;
  noise.wander_s = 0.1;
  EXPECT_TRUE(edges_of(hold(0, 100), 3, noise, 3).empty());
}

TEST(PulseNoise, ShiftsPulsesByTheFiringPattern) {
  const Profile profile = hold(6000, 1);  // 3 per turn: 300 Hz
  Noise noise;
  noise.firing = {0, 0.6, -0.6};
  const std::vector<double> shift = differences(edges_of(profile, 3, noise), edges_of(profile, 3));
  ASSERT_EQ(shift.size(), 300u);
  for (std::size_t i = 0; i < 300; ++i) EXPECT_NEAR(shift[i], noise.firing[i % 3] / 100 * 1e9 / 300, 1.1);
}

TEST(PulseNoise, ReplaysARecordedPatternInARingInsteadOfTheModel) {
  const Profile profile = hold(6000, 1);
  Noise noise;
  noise.jitter_us = 500;
  noise.wander_rpm = 100;
  noise.wander_s = 1;
  noise.firing = {5, -5};
  noise.replay = {0.01, -0.02, 0, 0.03, -0.02};
  const std::vector<double> shift = differences(edges_of(profile, 3, noise), edges_of(profile, 3));
  ASSERT_EQ(shift.size(), 300u);
  for (std::size_t i = 0; i < 300; ++i) EXPECT_NEAR(shift[i], noise.replay[i % 5] * 1e9 / 300, 1.1);
}

TEST(PulseNoise, TakesTheShorterNeighbourForThePeriodAfterAStandstill) {
  const Profile profile(std::vector<Step>{Hold{0, 10 * ns_per_s}, Hold{6000, ns_per_s}});
  Noise noise;
  noise.firing = {40, -40};
  const std::vector<double> shift = differences(edges_of(profile, 3, noise), edges_of(profile, 3));
  for (const double ns : shift) EXPECT_NEAR(std::abs(ns), 0.4 * 1e9 / 300, 1.1);
}

TEST(PulseNoise, DropsAndDoublesAtTheGivenRatesAndSaysWhere) {
  const Profile profile = hold(6000, 3000);
  Noise noise;
  noise.missing = 0.01;
  noise.doubled = 0.02;
  const std::vector<Nanos> due = edges_of(profile, 3);
  PulseTrain train(profile, 3, noise, 99);
  const std::vector<Nanos> edges = edges_of(train);
  std::vector<Nanos> missing;
  std::vector<Nanos> doubled;
  for (const Disturbance& d : train.take_disturbances())
    (d.kind == Disturbance::Kind::missing ? missing : doubled).push_back(d.at);
  EXPECT_TRUE(train.take_disturbances().empty());
  // Exactly the due pulses less the missing and with the doubled ones.
  std::vector<Nanos> expected;
  std::ranges::set_difference(due, missing, std::back_inserter(expected));
  EXPECT_EQ(expected.size(), due.size() - missing.size());
  expected.insert(expected.end(), doubled.begin(), doubled.end());
  std::ranges::sort(expected);
  EXPECT_EQ(edges, expected);
  for (const Nanos extra : doubled)
    EXPECT_TRUE(std::ranges::binary_search(edges, extra - 300 * ns_per_us)) << extra;
  // Binomial: sd sqrt(n p (1 - p)).
  const auto n = static_cast<double>(due.size());
  EXPECT_NEAR(static_cast<double>(missing.size()), n * 0.01, 4 * std::sqrt(n * 0.01 * 0.99));
  const double left = n - static_cast<double>(missing.size());
  EXPECT_NEAR(static_cast<double>(doubled.size()), left * 0.02, 4 * std::sqrt(left * 0.02 * 0.98));
}

TEST(PulseNoise, KeepsEachKindsDrawsApart) {
  // Pulses that go missing leave the jitter of the others as it was.
  const Profile profile = varied();
  Noise noise;
  noise.jitter_us = 20;
  const std::vector<Nanos> all = edges_of(profile, 3, noise, 5);
  noise.missing = 0.1;
  const std::vector<Nanos> some = edges_of(profile, 3, noise, 5);
  EXPECT_LT(some.size(), all.size());
  EXPECT_TRUE(std::ranges::includes(all, some));
}

TEST(PulseNoise, DoublesOnlyWhereThereIsRoom) {
  const Profile close = hold(20'000, 1);  // 60 per turn: 50 us, the least gap
  Noise noise;
  noise.doubled = 1;
  PulseTrain full(close, 60, noise, 1);
  EXPECT_EQ(edges_of(full).size(), 20'001u);  // only the last one has room
  EXPECT_EQ(full.take_disturbances().size(), 1u);
  // With 200 us between pulses there is room, though not for 300 us.
  const std::vector<Nanos> edges = edges_of(hold(5000, 1), 60, noise, 1);
  ASSERT_EQ(edges.size(), 10'000u);
  for (std::size_t i = 1; i + 1 < edges.size(); i += 2) EXPECT_EQ(edges[i] - edges[i - 1], 150 * ns_per_us);
}

RC_GTEST_PROP(PulseNoise, NeverBreaksTheOrderOrTheLeastGap, ()) {
  Noise noise;
  noise.jitter_us = *rc::gen::inRange(0, 100'000);
  noise.wander_rpm = *rc::gen::inRange(0, 5000);
  noise.wander_s = *rc::gen::inRange(1, 1000) / 1e3;
  noise.firing = *rc::gen::container<std::vector<double>>(
      rc::gen::map(rc::gen::inRange(-300, 301), [](int x) { return 1.0 * x; }));
  noise.missing = *rc::gen::inRange(0, 11) / 10.0;
  noise.doubled = *rc::gen::inRange(0, 11) / 10.0;
  noise.doubled_after_us = *rc::gen::inRange(0, 100'000);
  const auto seed = *rc::gen::arbitrary<std::uint64_t>();
  const double ppr = *rc::gen::element(0.5, 3.0, 24.0);
  const Profile profile = varied();
  const std::vector<Nanos> edges = edges_of(profile, ppr, noise, seed);
  if (!edges.empty()) RC_ASSERT(edges.front() >= 0);
  for (std::size_t i = 1; i < edges.size(); ++i) RC_ASSERT(edges[i] - edges[i - 1] >= PulseTrain::min_gap);
  RC_ASSERT(edges_of(profile, ppr, noise, seed, 77) == edges);
}

TEST(PulseNoise, DiffersBySeedAndOnlyBySeed) {
  Noise noise;
  noise.jitter_us = 1;
  const Profile profile = varied();
  EXPECT_EQ(edges_of(profile, 3, noise, 1), edges_of(profile, 3, noise, 1));
  EXPECT_NE(edges_of(profile, 3, noise, 1), edges_of(profile, 3, noise, 2));
}

TEST(PulseNoise, RefusesWhatNoNoiseIs) {
  const Profile profile;
  const auto refusal = [&](auto change) -> std::string {
    Noise noise;
    change(noise);
    try {
      PulseTrain train(profile, 1, noise);
    } catch (const std::invalid_argument& e) {
      return e.what();
    }
    return "accepted";
  };
  EXPECT_EQ(refusal([](Noise& n) { n.jitter_us = -1; }), "noise: jitter_us must be 0 or more");
  EXPECT_EQ(refusal([](Noise& n) { n.jitter_us = std::nan(""); }), "noise: jitter_us must be 0 or more");
  EXPECT_EQ(refusal([](Noise& n) { n.wander_rpm = -1; }), "noise: wander_rpm must be 0 or more");
  EXPECT_EQ(refusal([](Noise& n) { n.wander_rpm = 1; }), "noise: wander_s must be above 0");
  EXPECT_EQ(refusal([](Noise& n) { n.missing = 1.1; }), "noise: missing must be within 0..1");
  EXPECT_EQ(refusal([](Noise& n) { n.doubled = -0.1; }), "noise: doubled must be within 0..1");
  EXPECT_EQ(refusal([](Noise& n) { n.doubled_after_us = -1; }), "noise: doubled_after_us must be 0 or more");
  EXPECT_EQ(refusal([](Noise& n) { n.firing = {0, INFINITY}; }), "noise: firing must be finite");
  EXPECT_EQ(refusal([](Noise& n) { n.replay = {0, std::nan("")}; }), "noise: replay must be finite");
}

}  // namespace
}  // namespace tachproof

#include "core/recording/rpm_track.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "tests/core/profile_of.h"
#include "tests/core/trains.h"

namespace tachproof {
namespace {

using test::edges_of;

// What a recorder with this resolution writes down.
std::vector<Nanos> recorded(std::vector<Nanos> edges, Nanos resolution) {
  for (Nanos& t : edges) t = (t + resolution / 2) / resolution * resolution;
  return edges;
}

struct Tracked {
  std::vector<Segment> segments;
  std::vector<SignalGap> gaps;
  double uncertainty = 0;

  double rpm_at(Nanos t) const {
    const auto after =
        std::ranges::upper_bound(segments, t, {}, [](const Segment& g) { return g.start.whole; });
    const Segment& g = after == segments.begin() ? segments.front() : *std::prev(after);
    return g.rpm(std::min(to_seconds(t - g.start.whole), g.lasts_s));
  }
};

Tracked tracked(const std::vector<Nanos>& edges, const RpmTrack::Setup& setup, Nanos until) {
  RpmTrack track(setup);
  Tracked all;
  const auto collect = [&] {
    const RpmTrack::Decided some = track.take();
    for (const Segment& g : some.segments) EXPECT_LE(g.start.whole, some.known_until);
    all.segments.insert(all.segments.end(), some.segments.begin(), some.segments.end());
    all.gaps.insert(all.gaps.end(), some.gaps.begin(), some.gaps.end());
  };
  for (const Nanos at : edges) {
    track.edge(at);
    collect();
  }
  track.finish(until);
  collect();
  all.uncertainty = track.standard_uncertainty_rpm();
  return all;
}

Tracked tracked(const Profile& profile, double ppr, Nanos resolution, const Noise& noise = {}) {
  return tracked(recorded(edges_of(profile, ppr, noise, 42), resolution), {ppr, resolution, 3},
                 profile.duration());
}

Nanos end_of(const Segment& g) { return g.start.whole + from_seconds(g.lasts_s); }

// ---- against the profile -----------------------------------------------------

Profile build_any_profile(bool with_steps) {
  double rpm = *rc::gen::inRange(1500, 8000);
  std::vector<Step> steps;
  steps.emplace_back(StepTo{rpm});
  const int n = *rc::gen::inRange(1, 6);
  for (int i = 0; i < n; ++i) {
    const Nanos lasts = *rc::gen::inRange<Nanos>(ns_per_s / 2, ns_per_s);
    switch (*rc::gen::inRange(with_steps ? 0 : 1, 4)) {
      case 0:
        rpm = std::clamp(rpm + *rc::gen::element(-1, 1) * *rc::gen::inRange(30, 3000), 1500.0, 8000.0);
        break;
      case 1: break;
      case 2:
        rpm = *rc::gen::inRange(1500, 8000);
        steps.emplace_back(RampByRate{rpm, *rc::gen::inRange(100, 50'000) / 10.0});
        break;
      default: {
        const double swing = *rc::gen::inRange(5, 60);
        steps.emplace_back(
            Wave{rpm, swing, *rc::gen::inRange<Nanos>(2 * ns_per_s, 6 * ns_per_s), 3 * ns_per_s});
      }
    }
    steps.emplace_back(Hold{rpm, lasts});
  }
  return Profile(steps);
}

Profile any_profile(bool with_steps) {
  return *rc::gen::resize(100, rc::gen::exec([=] { return build_any_profile(with_steps); }));
}

// How far from a step or a corner a span may still reach.
Nanos reach(double lowest_rpm, double ppr) {
  return std::max(RpmTrack::longest_span * 5 / 4, 3 * from_seconds(60 / ppr / lowest_rpm));
}

RC_GTEST_PROP(RpmTrack, FollowsTheProfileWithinFourStandardUncertainties, ()) {
  const Profile profile = any_profile(true);
  const double ppr = *rc::gen::element(1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 12.0);
  const Nanos resolution = *rc::gen::element<Nanos>(100, 1000);
  const Tracked track = tracked(profile, ppr, resolution);
  const Nanos away = reach(1500, ppr);
  for (const Segment& g : profile.segments()) {
    double curve = 0;  // cut off, as the header says
    if (g.shape == Segment::Shape::sine) {
      const double two_pulses_s = 2 * 60 / ppr / g.lowest_rpm();
      const double span_s = std::max(to_seconds(RpmTrack::longest_span), two_pulses_s);
      curve = 0.08 * g.swing_rpm * std::pow(2 * M_PI / g.period_s * span_s, 2);
    }
    for (Nanos t = g.start.whole + away; t < end_of(g) - away; t += ns_per_ms)
      RC_ASSERT(std::abs(track.rpm_at(t) - profile.rpm_at(t)) <= 4 * track.uncertainty + curve);
  }
  RC_ASSERT(track.uncertainty < 2);
}

RC_GTEST_PROP(RpmTrack, RoundsCornersOffByNoMoreThanItSays, ()) {
  const Profile profile = any_profile(false);
  const double ppr = *rc::gen::element(1.0, 2.0, 3.0, 4.0);
  const Tracked track = tracked(profile, ppr, 1000);
  const double span_s = to_seconds(reach(1500, ppr));
  for (Nanos t = reach(1500, ppr); t < profile.duration(); t += ns_per_ms)
    RC_ASSERT(std::abs(track.rpm_at(t) - profile.rpm_at(t)) <= 10'000 * span_s / 6 + 4 * track.uncertainty);
}

RC_GTEST_PROP(RpmTrack, PutsAStepWithinOnePulsePeriod, ()) {
  const double before = *rc::gen::inRange(1000, 8000);
  const double after =
      *rc::gen::suchThat(rc::gen::inRange(1000, 8000), [=](int x) { return std::abs(x - before) > 20; });
  const double ppr = *rc::gen::element(0.5, 1.0, 1.5, 3.0, 4.0);
  const Nanos at = ns_per_s + *rc::gen::inRange<Nanos>(0, ns_per_s / 10);
  const Profile profile = profile_of({Hold{before, at}, Hold{after, ns_per_s}});
  const Tracked track = tracked(profile, ppr, 1000);
  const Nanos period = from_seconds(60 / ppr / std::min(before, after));
  // So near a step a span is not as long as it may be: a sixth of the tolerance.
  const double near = 4 * std::max(track.uncertainty, 0.5);
  RC_ASSERT(std::abs(track.rpm_at(at - period) - before) <= near);
  RC_ASSERT(std::abs(track.rpm_at(at + period) - after) <= near);
}

RC_GTEST_PROP(RpmTrack, GivesAdjoiningSegmentsFromZeroToTheEnd, ()) {
  const Profile profile = any_profile(true);
  Noise noise;
  noise.jitter_us = *rc::gen::inRange(0, 500);
  noise.missing = noise.doubled = 0.02;
  const std::vector<Nanos> edges = edges_of(profile, 3, noise, 42);
  const Nanos until = std::max(profile.duration(), edges.back());
  const Tracked track = tracked(edges, {3, 1, 3}, until);
  Nanos next = 0;
  for (const Segment& g : track.segments) {
    RC_ASSERT(g.start.whole == next);
    RC_ASSERT(g.start.frac_ns == 0.0);
    RC_ASSERT(g.lowest_rpm() >= 0);
    next = end_of(g);
  }
  RC_ASSERT(next == until);
}

// ---- one thing at a time -------------------------------------------------------

TEST(RpmTrack, TellsASteadySpeedToTheRecordersResolution) {
  const Profile profile = profile_of({Hold{7600, 20 * ns_per_s}});
  const Tracked track = tracked(profile, 3, 1000);
  // 12 or 15 pulses are as long as a span may be: 7600 rpm * 1 us / sqrt(6) / 39.5 ms is
  // 0.08 rpm. Rounding may repeat in step with the spans: up to three times that.
  EXPECT_GE(track.uncertainty, 0.07);
  EXPECT_LE(track.uncertainty, 0.3);
  EXPECT_TRUE(track.gaps.size() == 1);  // before the first pulse
  // At the ends a sixth of the tolerance is what is aimed at.
  const Nanos ends = RpmTrack::longest_span;
  for (Nanos t = 0; t < profile.duration(); t += ns_per_ms)
    ASSERT_NEAR(track.rpm_at(t), 7600,
                4 * (t < ends || t > profile.duration() - ends ? 0.5 : track.uncertainty));
}

TEST(RpmTrack, AJumpToTwiceTheSpeedIsNoRowOfExtraPulses) {
  for (const double to : {2290.0, 2401.0, 4588.0, 573.0}) {
    const Profile profile = profile_of({Hold{1147, ns_per_s}, Hold{to, ns_per_s}});
    const Tracked track = tracked(profile, 3, 1000);
    EXPECT_NEAR(track.rpm_at(1500 * ns_per_ms), to, 2);
    EXPECT_EQ(track.gaps.size(), 1u);  // before the first pulse
  }
}

TEST(RpmTrack, ManyMissingOrExtraPulsesAreMendedToo) {
  const Profile profile = profile_of({Hold{3720, 10 * ns_per_s}});
  for (const bool missing : {true, false}) {
    Noise noise;
    (missing ? noise.missing : noise.doubled) = 0.1;
    const Tracked track = tracked(profile, 3, 100, noise);
    for (Nanos t = ns_per_s; t < 9 * ns_per_s; t += ns_per_ms)
      ASSERT_NEAR(track.rpm_at(t), 3720, 3) << missing << " " << to_seconds(t);
  }
}

TEST(RpmTrack, DoesNotSeeAFiringPattern) {
  const Profile profile(
      std::vector<Step>{Hold{3000, 2 * ns_per_s}, RampByRate{5000, 1000}, Hold{5000, ns_per_s}});
  Noise noise;
  noise.firing = {0, 4, -4};  // per turn at 3 per turn
  const Tracked track = tracked(profile, 3, 100, noise);
  EXPECT_LT(track.uncertainty, 0.5);
  for (Nanos t = ns_per_s / 10; t < 19 * ns_per_s / 10; t += ns_per_ms) ASSERT_NEAR(track.rpm_at(t), 3000, 2);
  for (Nanos t = 21 * ns_per_s / 10; t < 39 * ns_per_s / 10; t += ns_per_ms)
    ASSERT_NEAR(track.rpm_at(t), profile.rpm_at(t), 2);
}

TEST(RpmTrack, StatesTheScatterThatItSees) {
  const Profile profile = profile_of({Hold{3720, 60 * ns_per_s}});
  Noise noise;
  noise.jitter_us = 50;
  const Tracked track = tracked(profile, 3, 100, noise);
  // Two edges, 16.1 ms apart: 3720 rpm * 50 us * sqrt(2) / 16.1 ms = 16 rpm.
  EXPECT_GT(track.uncertainty, 16);
  EXPECT_LT(track.uncertainty, 16 * 1.58 * 2);
  int beyond = 0;
  int seen = 0;
  for (Nanos t = ns_per_s; t < 59 * ns_per_s; t += ns_per_ms, ++seen)
    beyond += std::abs(track.rpm_at(t) - 3720) > 2 * track.uncertainty ? 1 : 0;
  EXPECT_LT(beyond, seen / 20);
}

TEST(RpmTrack, MendsAndTellsMissingAndDoubledPulses) {
  const Profile profile = profile_of({Hold{3720, 30 * ns_per_s}, RampByRate{8200, 150}});
  Noise noise;
  noise.missing = noise.doubled = 0.002;
  PulseTrain train(profile, 3, noise, 8);
  const std::vector<Nanos> edges = recorded(edges_of(train), 1000);
  const std::vector<Disturbance> spoiled = train.take_disturbances();
  ASSERT_GT(spoiled.size(), 40u);
  const Tracked track = tracked(edges, {3, 1000, 3}, profile.duration());
  for (const Disturbance& d : spoiled) {
    const bool missing = d.kind == Disturbance::Kind::missing;
    const auto told = [&](const SignalGap& g) {
      return g.kind == (missing ? SignalGap::Kind::missing : SignalGap::Kind::doubled) && g.from <= d.at &&
             d.at <= g.to;
    };
    EXPECT_TRUE(std::ranges::any_of(track.gaps, told)) << to_seconds(d.at);
  }
  EXPECT_EQ(track.gaps.size(), spoiled.size() + 1);  // and before the first pulse
  for (Nanos t = ns_per_s; t < 29 * ns_per_s; t += ns_per_ms)
    ASSERT_NEAR(track.rpm_at(t), 3720, 4 * track.uncertainty) << to_seconds(t);
}

TEST(RpmTrack, TakesALongSilenceForStandstillAndTellsIt) {
  const Profile profile = profile_of({Hold{3000, ns_per_s}, Hold{0, 2 * ns_per_s}, Hold{3000, ns_per_s}});
  const Tracked track = tracked(profile, 1, 100);
  const SignalGap start{SignalGap::Kind::lost, 0, 20 * ns_per_ms};
  const SignalGap silence{SignalGap::Kind::lost, ns_per_s, 3020 * ns_per_ms};
  EXPECT_THAT(track.gaps, ::testing::ElementsAre(start, silence));
  EXPECT_NEAR(track.rpm_at(1400 * ns_per_ms), 3000, 0.1);
  EXPECT_EQ(track.rpm_at(1600 * ns_per_ms), 0);
  EXPECT_EQ(track.rpm_at(3000 * ns_per_ms), 0);
  EXPECT_NEAR(track.rpm_at(3100 * ns_per_ms), 3000, 0.1);
}

TEST(RpmTrack, WaitsThreePeriodsOfASlowEngine) {
  const Profile profile = profile_of({Hold{60, 20 * ns_per_s}});  // a pulse in 2 s
  const Tracked track = tracked(profile, 0.5, 100);
  EXPECT_NEAR(track.rpm_at(15 * ns_per_s), 60, 1e-3);
  // Only the first two pulses seem far from each other.
  EXPECT_EQ(track.gaps.size(), 2u);
}

TEST(RpmTrack, IsZeroAndLostWithoutAnyPulse) {
  const Tracked track = tracked(std::vector<Nanos>{}, {3, 1000, 3}, 5 * ns_per_s);
  EXPECT_THAT(track.gaps, ::testing::ElementsAre(SignalGap{SignalGap::Kind::lost, 0, 5 * ns_per_s}));
  ASSERT_EQ(track.segments.size(), 1u);
  EXPECT_EQ(track.rpm_at(ns_per_s), 0);
}

TEST(RpmTrack, RemembersTheLastSeconds) {
  const Profile profile(std::vector<Step>{RampByRate{8000, 100}});
  RpmTrack track({3, 100, 3});
  EXPECT_EQ(track.rpm_at(0), 0);
  for (const Nanos at : edges_of(profile, 3)) track.edge(at);
  track.finish(profile.duration());
  for (Nanos back = ns_per_s; back < RpmTrack::kept; back += 100 * ns_per_ms) {
    const Nanos t = profile.duration() - back;
    EXPECT_NEAR(track.rpm_at(t), profile.rpm_at(t), 0.1);
    EXPECT_NEAR(track.slope_at(t), 100, 10);
  }
}

TEST(RpmTrack, RefusesWhatItCannotTrack) {
  const auto refusal = [](const RpmTrack::Setup& setup, std::vector<Nanos> edges) -> std::string {
    try {
      RpmTrack track(setup);
      for (const Nanos at : edges) track.edge(at);
    } catch (const std::invalid_argument& e) {
      return e.what();
    }
    return "accepted";
  };
  EXPECT_EQ(refusal({0, 1, 3}, {}), "rpm track: pulses per revolution must be above 0, up to 60");
  EXPECT_EQ(refusal({61, 1, 3}, {}), "rpm track: pulses per revolution must be above 0, up to 60");
  EXPECT_EQ(refusal({1, 0, 3}, {}), "rpm track: the resolution must be above 0");
  EXPECT_EQ(refusal({1, 1, 0}, {}), "rpm track: the tolerance must be above 0");
  EXPECT_EQ(refusal({1, 1, 3}, {5, 5}), "rpm track: edges must come in time order");
  EXPECT_EQ(refusal({1, 1, 3}, {5, 6}), "accepted");
}

}  // namespace
}  // namespace tachproof

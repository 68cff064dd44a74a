#include "core/signal/pulse_train.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "core/signal/edges.h"
#include "tests/core/trains.h"

namespace tachproof {
namespace {

using test::edges_of;

constexpr Nanos hour = 3600 * ns_per_s;

// ---- against exact arithmetic ----------------------------------------------

// 113 bits, for the reference only.
__extension__ typedef __float128 Quad;

Quad root(Quad x) {
  Quad r = std::sqrt(static_cast<double>(x));
  if (!(r > 0)) return 0;
  for (int i = 0; i < 3; ++i) r = (r + x / r) / 2;
  return r;
}

// The due instants of ramps and holds, from the scenario's own numbers.
class Exact {
 public:
  explicit Exact(double pulses_per_rev) : ppr_(pulses_per_rev) {}

  void hold(double rpm, double s) { add(rpm, 0, s); }
  void ramp(double from, double to, double rate) {
    add(from, to < from ? -rate : rate, Quad(std::abs(to - from)) / Quad(rate));
  }

  // Pulse k, in ns; k must not decrease from call to call.
  Quad due_ns(double k) {
    while (at_ + 1 < pieces_.size() && pieces_[at_].phase + pieces_[at_].gained < k) ++at_;
    const Piece& p = pieces_[at_];
    const Quad rest = k - p.phase;
    return (p.start_s + 2 * rest / (p.hz + root(p.hz * p.hz + 2 * p.hz_per_s * rest))) * 1e9;
  }

 private:
  struct Piece {
    Quad start_s, phase, gained, hz, hz_per_s;
  };
  void add(Quad rpm, Quad rate, Quad s) {
    const Quad hz = rpm * ppr_ / 60;
    const Quad hz_per_s = rate * ppr_ / 60;
    const Quad gained = (hz + hz_per_s * s / 2) * s;
    pieces_.push_back({start_s_, phase_, gained, hz, hz_per_s});
    start_s_ += s;
    phase_ += gained;
  }
  Quad ppr_;
  Quad start_s_ = 0;
  Quad phase_ = 0;
  std::vector<Piece> pieces_;
  std::size_t at_ = 0;
};

// The largest error of every `stride`th pulse, in ns. Rounding to whole
// nanoseconds alone gives up to 0.5.
double worst_error_ns(const Profile& profile, double ppr, Exact exact, std::size_t stride) {
  PulseTrain train(profile, ppr);
  std::vector<Nanos> block(4096);
  double worst = 0;
  std::size_t k = 0;
  while (const std::size_t n = train.next(block))
    for (std::size_t i = 0; i < n; ++i)
      if (++k % stride == 0) {
        const Quad error = Quad(block[i]) - exact.due_ns(static_cast<double>(k));
        worst = std::max(worst, std::abs(static_cast<double>(error)));
      }
  return worst;
}

constexpr double picosecond = 1e-3;

TEST(PulseTrain, IsWithinAPicosecondOfTheExactInstantBeforeRoundingOnA300SecondRamp) {
  for (const auto& [from, to] :
       {std::pair{0.0, 20'000.0}, {20'000.0, 0.0}, {100.0, 8200.0}, {8200.0, 3720.0}}) {
    const double rate = std::abs(to - from) / 300;
    const std::vector<Step> steps{StepTo{from}, RampByRate{to, rate}};
    for (const double ppr : {0.5, 3.0, 60.0}) {
      Exact exact(ppr);
      exact.ramp(from, to, rate);
      EXPECT_LE(worst_error_ns(Profile(steps), ppr, exact, ppr > 10 ? 83 : 1), 0.5 + picosecond)
          << from << ' ' << ppr;
    }
  }
}

TEST(PulseTrain, DoesNotDriftInADay) {
  // 24 h in pieces that are no whole number of nanoseconds.
  std::vector<Step> round{RampByRate{8200, 70}, Hold{8200, 3 * ns_per_s}, RampByRate{700, 130},
                          Hold{700, 7 * ns_per_s}};
  const int rounds = 490;
  const std::vector<Step> steps{StepTo{700}, Repeat{rounds, round}};
  Exact exact(1.5);
  for (int i = 0; i < rounds; ++i) {
    exact.ramp(700, 8200, 70);
    exact.hold(8200, 3);
    exact.ramp(8200, 700, 130);
    exact.hold(700, 7);
  }
  const Profile profile(steps);
  EXPECT_GT(profile.duration(), 23 * hour);
  EXPECT_LE(worst_error_ns(profile, 1.5, exact, 101), 0.5 + picosecond);
}

TEST(PulseTrain, KeepsItsPicosecondsForSlowPulsesAfterFastHours) {
  // A rounding of 1e-7 pulse, nothing at 20 kHz, would be 0.1 ms here.
  const std::vector<Step> steps{Hold{19'999.9, hour}, RampByRate{0.1, 3333}, Hold{0.1, 24 * hour}};
  Exact exact(2.5);
  exact.hold(19'999.9, 3600);
  exact.ramp(19'999.9, 0.1, 3333);
  exact.hold(0.1, 86'400);
  EXPECT_LE(worst_error_ns(Profile(steps), 2.5, exact, 7), 0.5 + picosecond);
}

TEST(PulseTrain, IsExactFor24HoursOfOneSpeed) {
  const std::vector<Step> steps{Hold{7001, 24 * hour}};
  PulseTrain train(Profile(), 1);
  const Profile profile(steps);
  train = PulseTrain(profile, 0.5);
  std::vector<Nanos> block(4096);
  Nanos last = 0;
  std::int64_t count = 0;
  while (const std::size_t n = train.next(block)) {
    last = block[n - 1];
    count += static_cast<std::int64_t>(n);
  }
  EXPECT_EQ(count, 7001 * 24 * 60 / 2);
  EXPECT_EQ(last, 24 * hour);
}

// ---- against the profile's own phase ----------------------------------------

long double phase_at(const Profile& profile, double ppr, Nanos t) {
  long double turns = 0;
  for (const Segment& g : profile.segments()) {
    const double s = (static_cast<double>(t - g.start.whole) - g.start.frac_ns) / 1e9;
    if (s <= 0) break;
    turns += g.turns(std::min(s, g.lasts_s));
  }
  return turns * ppr;
}

Profile build_any_profile() {
  std::vector<Step> steps;
  const int n = *rc::gen::inRange(1, 8);
  for (int i = 0; i < n; ++i) {
    const double rpm =
        *rc::gen::element(0.0, 1.0, 700.0, 3720.5, 20'000.0, *rc::gen::inRange(0, 200'000) / 10.0);
    const Nanos lasts = *rc::gen::inRange<Nanos>(0, ns_per_s / 2);
    switch (*rc::gen::inRange(0, 5)) {
      case 0: steps.push_back(Hold{rpm, lasts}); break;
      case 1: steps.push_back(RampByTime{rpm, lasts}); break;
      case 2: steps.push_back(RampByRate{rpm, *rc::gen::inRange(10'000, 1'000'000) / 3.0}); break;
      case 3: steps.push_back(StepTo{rpm}); break;
      default: {
        const double swing = std::min(rpm, 20'000 - rpm) * *rc::gen::inRange(-10, 11) / 10.0;
        steps.push_back(Wave{rpm, swing, *rc::gen::inRange<Nanos>(ns_per_ms, ns_per_s), lasts});
      }
    }
  }
  return Profile(steps);
}

// At full size from the first try on: short profiles have hardly a pulse.
Profile any_profile() { return *rc::gen::resize(100, rc::gen::exec(build_any_profile)); }

double any_pulses_per_rev() { return *rc::gen::element(0.5, 1.0, 1.5, 2.5, 3.0, 12.0, 60.0); }

RC_GTEST_PROP(PulseTrain, PutsPulseKWhereThePhaseReachesK, ()) {
  const Profile profile = any_profile();
  const double ppr = any_pulses_per_rev();
  const std::vector<Nanos> edges = edges_of(profile, ppr);
  RC_ASSERT(std::ranges::is_sorted(edges));
  // A nanosecond late or early means this much phase at most, plus double's
  // rounding of the sum of turns.
  const long double slack = profile.highest_rpm() * ppr / 60 * 1e-9L + 1e-10L;
  for (std::size_t k = 1; k <= edges.size(); ++k)
    if (k < 50 || k % 97 == 0 || k + 50 > edges.size())
      RC_ASSERT(std::abs(phase_at(profile, ppr, edges[k - 1]) - k) <= slack);
  const long double total = phase_at(profile, ppr, profile.duration());
  RC_ASSERT(std::abs(total - edges.size() - 0.5L) <= 0.5L + slack);
}

RC_GTEST_PROP(PulseTrain, GivesTheSameBitsHoweverItIsAsked, ()) {
  const Profile profile = any_profile();
  const double ppr = any_pulses_per_rev();
  Noise noise;
  if (*rc::gen::arbitrary<bool>()) {
    noise.jitter_us = 20;
    noise.wander_rpm = 3;
    noise.wander_s = 0.4;
    noise.missing = noise.doubled = 0.01;
  }
  const std::vector<Nanos> whole = edges_of(profile, ppr, noise, 5, 1 << 20);
  RC_ASSERT(edges_of(profile, ppr, noise, 5, *rc::gen::inRange(1, 5000)) == whole);
}

// ---- plain cases -------------------------------------------------------------

TEST(PulseTrain, GivesEveryPulseOfAHoldAndTheLastOneAtItsVeryEnd) {
  // 1 s at 3600 rpm, 1 per turn: 60 pulses, then nothing.
  for (const double rpm : {3600.0, 7020.0, 60.0, 11'940.0}) {
    const std::vector<Step> steps{Hold{rpm, ns_per_s}, Hold{0, ns_per_s}};
    const std::vector<Nanos> edges = edges_of(Profile(steps), 1);
    ASSERT_EQ(edges.size(), static_cast<std::size_t>(rpm / 60)) << rpm;
    EXPECT_EQ(edges.back(), ns_per_s);
    EXPECT_EQ(edges.front(), std::llround(60e9 / rpm));
  }
}

TEST(PulseTrain, IsSilentAtStandstill) {
  EXPECT_TRUE(edges_of(Profile(std::vector<Step>{Hold{0, hour}}), 60).empty());
  EXPECT_TRUE(edges_of(Profile(), 1).empty());
  const std::vector<Step> steps{Hold{0, hour}, Hold{600, ns_per_s}, Hold{0, hour}};
  const std::vector<Nanos> edges = edges_of(Profile(steps), 1);
  ASSERT_EQ(edges.size(), 10u);
  EXPECT_EQ(edges.front(), hour + 100 * ns_per_ms);
}

TEST(PulseTrain, KeepsPhaseAcrossAReversal) {
  // Up from standstill and down again: the train is its own mirror image.
  const std::vector<Step> steps{RampByTime{6000, 10 * ns_per_s}, RampByTime{0, 10 * ns_per_s}};
  const std::vector<Nanos> edges = edges_of(Profile(steps), 1.5);
  ASSERT_EQ(edges.size(), 1500u);  // 1000 turns
  EXPECT_EQ(edges[749], 10 * ns_per_s);
  EXPECT_EQ(edges.back(), 20 * ns_per_s);
  for (std::size_t k = 1; k < 1500; ++k)
    EXPECT_LE(std::abs(edges[k - 1] + edges[1500 - k - 1] - 20 * ns_per_s), 1);
}

TEST(PulseTrain, CarriesAFractionOfAPulseAcrossAStep) {
  // 0.75 pulse at 45 rpm in 1 s; the rest of it takes 0.125 s at 120 rpm.
  const std::vector<Step> steps{Hold{45, ns_per_s}, Hold{120, ns_per_s}};
  EXPECT_THAT(edges_of(Profile(steps), 1), ::testing::ElementsAre(1'125 * ns_per_ms, 1'625 * ns_per_ms));
}

TEST(PulseTrain, PassesThroughAWaveThatTouchesStandstill) {
  const std::vector<Step> steps{Wave{3000, 3000, ns_per_s, 10 * ns_per_s}};
  const std::vector<Nanos> edges = edges_of(Profile(steps), 2);
  EXPECT_EQ(edges.size(), 1000u);  // 500 turns
  EXPECT_TRUE(std::ranges::is_sorted(edges));
  EXPECT_EQ(edges.back(), 10 * ns_per_s);
}

TEST(PulseTrain, RefusesPulsesPerRevolutionOutOfRange) {
  const Profile profile;
  const auto refusal = [&](double ppr) -> std::string {
    try {
      PulseTrain train(profile, ppr);
    } catch (const std::invalid_argument& e) {
      return e.what();
    }
    return "accepted";
  };
  const std::string message = "pulse train: pulses per revolution must be above 0, up to 60";
  EXPECT_EQ(refusal(0), message);
  EXPECT_EQ(refusal(-1), message);
  EXPECT_EQ(refusal(60.5), message);
  EXPECT_EQ(refusal(std::nan("")), message);
  EXPECT_EQ(refusal(60), "accepted");
}

// ---- the inner loops ----------------------------------------------------------

RC_GTEST_PROP(Edges, AreTheSameBitsWithEveryInstructionSet, ()) {
  const auto n = static_cast<std::size_t>(*rc::gen::inRange(1, 1025));
  const Instant anchor{*rc::gen::inRange<Nanos>(0, hour), *rc::gen::inRange(0, 1000) / 1000.0};
  const double hz = *rc::gen::inRange(0, 2'000'000) / 100.0;
  const double hz_per_s = *rc::gen::inRange(1, 10'000'000) / 100.0;
  const bool rising = *rc::gen::arbitrary<bool>();
  std::vector<Nanos> expected(n);
  std::vector<Nanos> got(n);
  for (const Instructions set : {Instructions::avx2, Instructions::avx512}) {
    if (!available(set)) continue;
    ramp_edges(anchor, hz, hz_per_s, rising, expected, Instructions::baseline);
    ramp_edges(anchor, hz, hz_per_s, rising, got, set);
    RC_ASSERT(got == expected);
    constant_edges(anchor, 1e9 / (hz + 1), expected, Instructions::baseline);
    constant_edges(anchor, 1e9 / (hz + 1), got, set);
    RC_ASSERT(got == expected);
  }
}

RC_GTEST_PROP(Edges, OfASineAreTheSameBitsWithEveryInstructionSet, ()) {
  const auto n = static_cast<std::size_t>(*rc::gen::inRange(1, 40));
  const Instant anchor{*rc::gen::inRange<Nanos>(0, hour), *rc::gen::inRange(0, 1000) / 1000.0};
  const double mean_hz = *rc::gen::inRange(1, 100'000) / 100.0;
  const double period_s = *rc::gen::inRange(1, 100'000) / 1000.0;
  const SineStretch sine{mean_hz, mean_hz * *rc::gen::inRange(-10, 11) / 10, period_s, 2 * period_s};
  const double phase = mean_hz * period_s * *rc::gen::inRange(0, 100) / 100;
  std::vector<double> near_s(n);
  for (double& s : near_s) s = period_s * *rc::gen::inRange(0, 2000) / 1000.0;
  for (const Instructions set : {Instructions::avx2, Instructions::avx512}) {
    if (!available(set)) continue;
    std::vector<double> expected_s = near_s, got_s = near_s;
    std::vector<Nanos> expected(n), got(n);
    const bool all_near = sine_edges(sine, anchor, phase, expected_s, expected, Instructions::baseline);
    RC_ASSERT(sine_edges(sine, anchor, phase, got_s, got, set) == all_near);
    if (!all_near) continue;  // nothing is promised of them, and they are not used
    RC_ASSERT(got == expected);
    RC_ASSERT(got_s == expected_s);
  }
}

// Where the cubic between edges is a good guess and where it is none: slow ends, few pulses a period, and one
// block after another.
TEST(PulseTrain, AWaveHasItsPulsesWhereItsPhaseIs) {
  struct Case {
    double mean, swing, period_s, ppr;
  };
  for (const Case& c : {Case{5600, 2400, 16, 3}, Case{4000, 4000, 3, 2}, Case{600, -599.9, 20, 1},
                        Case{9000, 8000, 0.01, 4}, Case{20, 20, 100, 0.5}}) {
    const Nanos lasts = static_cast<Nanos>(3.3 * c.period_s * 1e9) + 20 * ns_per_s;
    const Profile profile(
        std::vector<Step>{Wave{c.mean, c.swing, static_cast<Nanos>(c.period_s * 1e9), lasts}});
    const std::vector<Nanos> edges = edges_of(profile, c.ppr);
    EXPECT_TRUE(std::ranges::is_sorted(edges));
    const long double slack = profile.highest_rpm() * c.ppr / 60 * 0.51e-9L + 1e-10L;
    for (std::size_t k = 1; k <= edges.size(); k += k % 5 == 0 ? 3 : 1)
      ASSERT_LE(std::abs(phase_at(profile, c.ppr, edges[k - 1]) - k), slack) << c.mean << ", pulse " << k;
  }
}

}  // namespace
}  // namespace tachproof

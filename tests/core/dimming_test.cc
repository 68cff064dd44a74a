#include "core/dimming.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>

#include "core/settling.h"

namespace tachproof {
namespace {

constexpr Channels lamp = 1, other = 2;

std::vector<LampEvent> filtered(const std::vector<LampEvent>& raw) {
  DimmingFilter filter;
  std::vector<LampEvent> out;
  filter.add(raw, out);
  filter.finish(out);
  return out;
}

std::vector<LampEvent> pwm(Nanos from, Nanos to, Nanos period, double duty) {
  std::vector<LampEvent> events{{0, 0}};
  for (Nanos t = from; t < to; t += period) {
    events.push_back({t, lamp});
    events.push_back({t + static_cast<Nanos>(duty * static_cast<double>(period)), 0});
  }
  return events;
}

TEST(DimmingFilter, PassesSlowChangesOnUntouched) {
  const std::vector<LampEvent> raw = {
      {0, 0}, {ns_per_s, lamp}, {2 * ns_per_s, lamp | other}, {3 * ns_per_s, 0}};
  EXPECT_EQ(filtered(raw), raw);
}

TEST(DimmingFilter, ADimmedLampIsLitFromItsFirstToItsLastPulse) {
  const Nanos period = 2 * ns_per_ms;
  const std::vector<LampEvent> out = filtered(pwm(ns_per_s, 2 * ns_per_s, period, 0.25));
  ASSERT_EQ(out.size(), 3u);
  EXPECT_EQ(out[1], (LampEvent{ns_per_s, lamp}));
  EXPECT_EQ(out[2], (LampEvent{2 * ns_per_s - period + period / 4, 0}));
}

TEST(DimmingFilter, StatesLevelAndFrequency) {
  DimmingFilter filter;
  std::vector<LampEvent> out;
  filter.add(pwm(0, ns_per_s, 2500 * ns_per_us, 0.3), out);
  EXPECT_NEAR(filter.dimming(0).level, 0.3, 1e-3);
  EXPECT_NEAR(filter.dimming(0).hz, 400, 0.5);
  EXPECT_EQ(filter.dimming(1).level, 1.0);
  EXPECT_EQ(filter.dimming(1).hz, 0.0);
}

TEST(DimmingFilter, ChatterAtAnUpdateRateIsNotDimming) {
  // On and off every 10 ms, as regular as can be: 50 Hz is slower than any
  // dimming that an eye would accept, and must stay visible to the judge.
  const std::vector<LampEvent> raw = pwm(ns_per_s, 2 * ns_per_s, 20 * ns_per_ms, 0.5);
  EXPECT_EQ(filtered(raw), raw);
}

TEST(DimmingFilter, IrregularFastChatterIsNotDimming) {
  std::vector<LampEvent> raw{{0, 0}};
  const Nanos gaps[] = {3, 1, 7, 2, 2, 5, 9, 1, 4, 3, 8, 2};
  Nanos t = ns_per_s;
  for (std::size_t i = 0; i < std::size(gaps); ++i) {
    raw.push_back({t, i % 2 == 0 ? lamp : 0});
    t += gaps[i] * ns_per_ms;
  }
  EXPECT_EQ(filtered(raw), raw);
}

TEST(DimmingFilter, TwoPulsesAreNoTrain) {
  const std::vector<LampEvent> raw = {{0, 0},
                                      {ns_per_s, lamp},
                                      {ns_per_s + ns_per_ms, 0},
                                      {ns_per_s + 3 * ns_per_ms, lamp},
                                      {ns_per_s + 4 * ns_per_ms, 0},
                                      {3 * ns_per_s, lamp}};
  EXPECT_EQ(filtered(raw), raw);
}

RC_GTEST_PROP(DimmingFilter, KeepsTheOrderAndTheLastStateInAnyPortions, ()) {
  const auto gaps = *rc::gen::container<std::vector<int>>(rc::gen::inRange(1, 30'000));
  std::vector<LampEvent> raw{{0, 0}};
  Nanos t = 0;
  Channels lit = 0;
  for (const int gap : gaps) {
    t += gap * ns_per_us;
    lit ^= gap % 3 == 0 ? other : lamp;
    raw.push_back({t, lit});
  }
  const std::vector<LampEvent> whole = filtered(raw);
  RC_ASSERT(whole.back().lit == raw.back().lit);
  RC_ASSERT(std::is_sorted(whole.begin(), whole.end(),
                           [](const LampEvent& a, const LampEvent& b) { return a.at < b.at; }));
  DimmingFilter filter;
  std::vector<LampEvent> parts;
  for (std::size_t i = 0; i < raw.size();) {
    const auto n = std::min<std::size_t>(raw.size() - i, static_cast<std::size_t>(*rc::gen::inRange(1, 5)));
    filter.add(std::span(raw).subspan(i, n), parts);
    i += n;
  }
  filter.finish(parts);
  RC_ASSERT(parts == whole);
}

std::vector<LampEvent> settled(const std::vector<LampEvent>& events) {
  Settling settling(10 * ns_per_ms);
  std::vector<LampEvent> out;
  for (const LampEvent& e : events) settling.add(e, out);
  settling.finish(out);
  return out;
}

TEST(Settling, JoinsTheLampsOfOneChangeAtTheLastMove) {
  EXPECT_THAT(settled({{0, 0}, {ns_per_s, lamp}, {ns_per_s + 4 * ns_per_ms, lamp | other}}),
              testing::ElementsAre(LampEvent{0, 0}, LampEvent{ns_per_s + 4 * ns_per_ms, lamp | other}));
}

TEST(Settling, KeepsAFlashThatLeadsBack) {
  const std::vector<LampEvent> flash = {{0, lamp}, {ns_per_s, 0}, {ns_per_s + 2 * ns_per_ms, lamp}};
  EXPECT_EQ(settled(flash), flash);
}

TEST(Settling, DropsAFlashThatNobodyCouldSee) {
  EXPECT_THAT(settled({{0, lamp}, {ns_per_s, 0}, {ns_per_s + 20 * ns_per_us, lamp}}),
              testing::ElementsAre(LampEvent{0, lamp}));
}

TEST(Settling, KeepsMovesThatTakeLongerThanTheSettlingTime) {
  const std::vector<LampEvent> slow = {{0, 0}, {ns_per_s, lamp}, {ns_per_s + 15 * ns_per_ms, lamp | other}};
  EXPECT_EQ(settled(slow), slow);
}

}  // namespace
}  // namespace tachproof

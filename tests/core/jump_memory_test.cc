// What jumps tell of a unit's memory, beside readings whose memory is known in closed form.
#include "core/judge/jump_memory.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

namespace tachproof {
namespace {

constexpr double pulse_s = 0.005;

// A delay and a first-order filter: of a jump exp(-(t - delay) / filter) is left.
struct Filter {
  double delay_s, filter_s;
  double left(double t) const { return t < delay_s ? 1 : std::exp(-(t - delay_s) / filter_s); }
  double answers_jump_s(double left) const { return delay_s + filter_s * std::log(1 / left); }
  double answers_ramp_s() const { return delay_s + filter_s; }
};

Filter any_filter() { return {*rc::gen::inRange(0, 30'000) * 1e-6, *rc::gen::inRange(500, 100'000) * 1e-6}; }

JumpMemory shown_by(const Filter& filter, double left) {
  JumpMemory memory;
  memory.jump(filter.answers_jump_s(left), left, pulse_s);
  memory.ramp(filter.answers_ramp_s());
  return memory;
}

RC_GTEST_PROP(JumpMemory, NoFilterHoldsMoreOfAJumpThanItSays, ()) {
  const Filter filter = any_filter();
  const JumpMemory memory = shown_by(filter, *rc::gen::inRange(2, 50) * 1e-3);
  RC_ASSERT(memory.known());
  for (double t = 0; t < 1; t += 0.005) RC_ASSERT(memory.left_after(t, pulse_s) >= filter.left(t) - 1e-12);
}

RC_GTEST_PROP(JumpMemory, AFilterThatWasLedInForSoLongLagsAsOnALongRamp, ()) {
  const Filter filter = any_filter();
  const JumpMemory memory = shown_by(filter, *rc::gen::inRange(2, 50) * 1e-3);
  // Its lag after a corner is delay + filter (1 - exp(-(t - delay) / filter)).
  const double missing_s = filter.filter_s * filter.left(memory.needs_s(pulse_s));
  RC_ASSERT(missing_s < 0.003);
}

RC_GTEST_PROP(JumpMemory, ItForgetsWhenNoMoreIsLeft, ()) {
  const JumpMemory memory = shown_by(any_filter(), *rc::gen::inRange(2, 50) * 1e-3);
  const double share = *rc::gen::inRange(1, 900) * 1e-3;
  RC_ASSERT(memory.left_after(memory.forgets_s(share, pulse_s) + 1e-9, pulse_s) <= share * (1 + 1e-6));
}

// Of N pulses: after N of them nothing is left, wherever they are.
RC_GTEST_PROP(JumpMemory, AnAverageTakesLongerWherePulsesAreSlower, ()) {
  const int pulses = *rc::gen::inRange(1, 20);
  const double left = *rc::gen::inRange(2, 50) * 1e-3;
  JumpMemory memory;
  memory.jump(pulses * pulse_s * (1 - left), left, pulse_s);
  memory.ramp(pulses * pulse_s / 2);
  const double slower = *rc::gen::inRange(50, 300) * 1e-2;
  RC_ASSERT(memory.needs_s(slower * pulse_s) >= pulses * slower * pulse_s);
}

TEST(JumpMemory, WhatFollowsJumpsAtOnceAndSmoothsTheRestIsNotKnown) {
  JumpMemory memory;
  memory.jump(0.012, 0.02, pulse_s);
  memory.ramp(0.045);
  EXPECT_FALSE(memory.known());
  EXPECT_TRUE(std::isinf(memory.needs_s(pulse_s)));
}

TEST(JumpMemory, NothingIsKnownBeforeBothWereSeenOrAfterASmallJump) {
  JumpMemory memory;
  EXPECT_FALSE(memory.known());
  memory.ramp(0.02);
  EXPECT_FALSE(memory.known());
  memory.jump(0.03, 0.2, pulse_s);  // a fifth was left: it may be held for long
  EXPECT_FALSE(memory.known());
  memory.jump(0.03, 0.02, pulse_s);
  EXPECT_TRUE(memory.known());
}

TEST(JumpMemory, AnAnswerThatWaitedForAnUpdateTakesNothingBack) {
  JumpMemory memory;
  memory.ramp(0.02);
  memory.jump(0.025, 0.02, pulse_s);
  const double needs_s = memory.needs_s(pulse_s);
  memory.jump(0.060, 0.02, pulse_s);
  EXPECT_DOUBLE_EQ(memory.needs_s(pulse_s), needs_s);
}

}  // namespace
}  // namespace tachproof

#include "core/judge/dimming.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>

#include "core/judge/settling.h"

namespace tachproof {
namespace {

constexpr Channels lamp = 1, other = 2;

std::vector<LampEvent> filtered(const std::vector<LampEvent>& raw) {
  DimmingFilter filter;
  std::vector<LampEvent> out;
  filter.add(raw, out);
  filter.seen_until(raw.back().at + ns_per_s, out);
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

TEST(DimmingFilter, ADimmedLampIsLitFromItsFirstPulseUntilTheNextIsOverdue) {
  DimmingFilter filter;
  std::vector<LampEvent> out;
  filter.add(pwm(ns_per_s, 2 * ns_per_s, 2 * ns_per_ms, 0.25), out);
  filter.seen_until(2 * ns_per_s + 10 * ns_per_ms, out);
  EXPECT_EQ(out, (std::vector<LampEvent>{{0, 0}, {ns_per_s, lamp}, {2 * ns_per_s, 0}}));
}

TEST(DimmingFilter, ADimmedLampWhosePulseIsCutShortGoesOutThen) {
  DimmingFilter filter;
  std::vector<LampEvent> out;
  std::vector<LampEvent> events = pwm(ns_per_s, 2 * ns_per_s, 2 * ns_per_ms, 0.5);
  events.push_back({2 * ns_per_s, lamp});
  events.push_back({2 * ns_per_s + 600 * ns_per_us, 0});
  filter.add(events, out);
  filter.seen_until(2 * ns_per_s + 10 * ns_per_ms, out);
  EXPECT_EQ(out.back(), (LampEvent{2 * ns_per_s + 600 * ns_per_us, 0}));
}

TEST(DimmingFilter, ARunThatEndsInTheDarkPartOfAPeriodEndsWithALitLamp) {
  DimmingFilter filter;
  std::vector<LampEvent> out;
  filter.add(pwm(ns_per_s, 2 * ns_per_s, 2 * ns_per_ms, 0.25), out);
  filter.seen_until(2 * ns_per_s - ns_per_ms, out);
  filter.finish(out);
  EXPECT_EQ(out, (std::vector<LampEvent>{{0, 0}, {ns_per_s, lamp}}));
}

// Lit from `from` to `to`, as a PWM whose pulses begin at multiples of its period shows it.
std::vector<LampEvent> pwm_by_its_own_clock(Nanos from, Nanos to, Nanos period, Nanos lit) {
  std::vector<LampEvent> events{{0, 0}, {from, lamp}};
  for (Nanos t = from / period * period; t < to; t += period) {
    if (t > from) events.push_back({t, lamp});
    if (t + lit > from && t + lit < to) events.push_back({t + lit, 0});
  }
  if (events.back().lit != 0) events.push_back({to, 0});
  return events;
}

TEST(DimmingFilter, ADimmedLampMayComeOnAnywhereInAPeriod) {
  const Nanos period = 4 * ns_per_ms, lit = 3 * ns_per_ms;
  for (Nanos phase = 0; phase < lit; phase += 100 * ns_per_us) {
    const Nanos from = ns_per_s + phase, to = 2 * ns_per_s + ns_per_ms;
    EXPECT_EQ(filtered(pwm_by_its_own_clock(from, to, period, lit)),
              (std::vector<LampEvent>{{0, 0}, {from, lamp}, {to, 0}}))
        << phase;
  }
}

TEST(DimmingFilter, AGapOfTheKnownDimmingIsNoChangeHoweverShortTheLampIsLit) {
  const Nanos period = 4 * ns_per_ms, lit = 3 * ns_per_ms;
  std::vector<LampEvent> events = pwm_by_its_own_clock(ns_per_s, 2 * ns_per_s + ns_per_ms, period, lit);
  const Nanos again = 3 * ns_per_s;
  for (const LampEvent& more : {LampEvent{again + 2 * ns_per_ms, lamp}, LampEvent{again + 3 * ns_per_ms, 0},
                                LampEvent{again + 4 * ns_per_ms, lamp}, LampEvent{again + 6 * ns_per_ms, 0}})
    events.push_back(more);
  const std::vector<LampEvent> out = filtered(events);
  ASSERT_EQ(out.size(), 5u);
  EXPECT_EQ(out[3], (LampEvent{again + 2 * ns_per_ms, lamp}));
  EXPECT_EQ(out[4], (LampEvent{again + 6 * ns_per_ms, 0}));
}

TEST(DimmingFilter, AnotherGapThanThatOfTheKnownDimmingIsAChange) {
  const Nanos period = 4 * ns_per_ms, lit = 3 * ns_per_ms;
  std::vector<LampEvent> events = pwm_by_its_own_clock(ns_per_s, 2 * ns_per_s + ns_per_ms, period, lit);
  const std::vector<LampEvent> chatter{{3 * ns_per_s, lamp},
                                       {3 * ns_per_s + 3 * ns_per_ms, 0},
                                       {3 * ns_per_s + 5 * ns_per_ms, lamp},
                                       {3 * ns_per_s + 8 * ns_per_ms, 0}};
  events.insert(events.end(), chatter.begin(), chatter.end());
  const std::vector<LampEvent> out = filtered(events);
  ASSERT_EQ(out.size(), 7u);
  EXPECT_EQ(std::vector<LampEvent>(out.end() - 4, out.end()), chatter);
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

// The same with a glitch of `width` at `at`: the line is for that long what it is not.
std::vector<LampEvent> with_glitch(const std::vector<LampEvent>& events, Nanos at, Nanos width) {
  std::vector<LampEvent> out;
  Channels lit = 0;
  bool done = false;
  for (const LampEvent& event : events) {
    if (!done && event.at > at) {
      out.push_back({at, lit ^ lamp});
      out.push_back({at + width, lit});
      done = true;
    }
    lit = event.lit;
    out.push_back(event);
  }
  return out;
}

TEST(DimmingFilter, AGlitchOnADimmedLampsLineIsLeftOutWhereverInThePeriodItComes) {
  for (const double hz : {100.0, 400.0, 1000.0})
    for (const double duty : {0.1, 0.5, 0.9}) {
      const Nanos period = from_seconds(1 / hz);
      const auto lit = static_cast<Nanos>(duty * static_cast<double>(period));
      const Nanos to = ns_per_s + 100 * period;
      const std::vector<LampEvent> clean = pwm(ns_per_s, to, period, duty);
      for (int k = 1; k < 40; ++k) {
        const Nanos at = ns_per_s + 50 * period + period * k / 40;
        if (std::abs(at - (ns_per_s + 50 * period + lit)) < 2 * ns_per_us) continue;
        DimmingFilter filter;
        std::vector<LampEvent> out;
        filter.add(with_glitch(clean, at, ns_per_us), out);
        filter.seen_until(to + ns_per_s, out);
        ASSERT_EQ(out, (std::vector<LampEvent>{{0, 0}, {ns_per_s, lamp}, {to, 0}}))
            << hz << " Hz, duty " << duty << ", " << k;
        EXPECT_EQ(filter.glitches(), 1u);
      }
    }
}

TEST(DimmingFilter, AGlitchInTheDarkOrInSteadyLightIsLeftOut) {
  const std::vector<LampEvent> clean = {{0, 0}, {ns_per_s, lamp}, {2 * ns_per_s, 0}, {3 * ns_per_s, other}};
  EXPECT_EQ(filtered(with_glitch(clean, ns_per_s / 2, ns_per_us)), clean);
  EXPECT_EQ(filtered(with_glitch(clean, ns_per_s * 3 / 2, 15 * ns_per_us)), clean);
}

TEST(DimmingFilter, APulseThatALampCanMakeIsNoGlitch) {
  const std::vector<LampEvent> raw = {{0, 0}, {ns_per_s, lamp}, {ns_per_s + 25 * ns_per_us, 0}};
  EXPECT_EQ(filtered(raw), raw);
}

TEST(DimmingFilter, FastDimmingIsNotTakenForGlitches) {
  // 3 kHz at 4 %: lit for 13 us.
  const Nanos period = 333 * ns_per_us;
  const std::vector<LampEvent> out = filtered(pwm(ns_per_s, 2 * ns_per_s, period, 0.04));
  ASSERT_EQ(out.size(), 3u);
  EXPECT_EQ(out[1].lit, lamp);
  EXPECT_LT(out[1].at, ns_per_s + 12 * period);
  EXPECT_GE(out[2].at, 2 * ns_per_s - period);
}

TEST(DimmingFilter, RegularSpikesOfAnIgnitionDoNotLightALamp) {
  const std::vector<LampEvent> spikes = pwm(ns_per_s, 2 * ns_per_s, 5 * ns_per_ms, 0.0002);
  EXPECT_EQ(filtered(spikes), (std::vector<LampEvent>{{0, 0}}));
}

TEST(DimmingFilter, SaysHowFarApartLampsOfOneChangeMayBeDated) {
  DimmingFilter filter;
  std::vector<LampEvent> out;
  EXPECT_EQ(filter.slack(), 0);
  filter.add(pwm(ns_per_s, 2 * ns_per_s, 10 * ns_per_ms, 0.1), out);
  EXPECT_EQ(filter.slack(), 10 * ns_per_ms);
  filter.add(std::vector<LampEvent>{{3 * ns_per_s, lamp}}, out);
  filter.seen_until(4 * ns_per_s, out);
  EXPECT_EQ(filter.slack(), 0) << "lit without a gap for a second";
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
  filter.seen_until(raw.back().at + ns_per_s, parts);
  filter.finish(parts);
  RC_ASSERT(parts == whole);
}

// Trains of several lamps that come and go in one rhythm or not, with jitter, breaks and spikes.
std::vector<LampEvent> any_trains() {
  std::vector<LampEvent> raw{{0, 0}};
  Nanos t = ns_per_ms;
  const auto show = [&](Nanos at, Channels lit) {
    t = std::max(at, t + 1);
    raw.push_back({t, lit});
  };
  for (int trains = *rc::gen::inRange(1, 6); trains > 0; --trains) {
    const auto lamps = *rc::gen::elementOf(std::vector<Channels>{1, 2, 3, 7});
    const auto steady = *rc::gen::elementOf(std::vector<Channels>{0, 0, 8}) & ~lamps;
    const Nanos period = *rc::gen::elementOf(std::vector<Nanos>{900, 2500, 5000, 13'000}) * ns_per_us;
    const double duty = *rc::gen::elementOf(std::vector<double>{0.01, 0.3, 0.5, 0.99});
    const Nanos jitter = *rc::gen::elementOf(std::vector<Nanos>{0, 1, 30, 400}) * ns_per_us;
    for (int periods = *rc::gen::inRange(0, 30); periods > 0; --periods) {
      const Nanos from = t + static_cast<Nanos>((1 - duty) * static_cast<double>(period));
      const Nanos rise = from + *rc::gen::inRange<Nanos>(0, jitter + 1);
      if (*rc::gen::inRange(0, 25) == 0) {
        show(rise - 15 * ns_per_us, steady | lamps);
        show(rise - 10 * ns_per_us, steady);
      }
      show(rise, steady | lamps);
      if (*rc::gen::inRange(0, 25) == 0) show(rise + 3 * ns_per_us, steady | (lamps & 1));
      show(rise + static_cast<Nanos>(duty * static_cast<double>(period)), steady);
    }
    t += *rc::gen::elementOf(std::vector<Nanos>{0, 3, 20, 200}) * ns_per_ms;
  }
  return raw;
}

// What goes on in one rhythm is taken a stretch at a time.
RC_GTEST_PROP(DimmingFilter, SeesTheSameInAStretchAsEventByEvent, ()) {
  const std::vector<LampEvent> raw = any_trains();
  DimmingFilter at_once, one_by_one;
  std::vector<LampEvent> of_stretches, of_events;
  for (std::size_t i = 0; i < raw.size();) {
    const auto n = std::min<std::size_t>(raw.size() - i, static_cast<std::size_t>(*rc::gen::inRange(1, 60)));
    at_once.add(std::span(raw).subspan(i, n), of_stretches);
    for (const LampEvent& event : std::span(raw).subspan(i, n)) one_by_one.add({&event, 1}, of_events);
    i += n;
    if (*rc::gen::arbitrary<bool>() && i < raw.size()) {
      const Nanos until = raw[i - 1].at + (raw[i].at - raw[i - 1].at) / 2;
      at_once.seen_until(until, of_stretches);
      one_by_one.seen_until(until, of_events);
    }
    RC_ASSERT(at_once.settled_until() == one_by_one.settled_until());
    RC_ASSERT(at_once.slack() == one_by_one.slack());
    RC_ASSERT(at_once.glitches() == one_by_one.glitches());
  }
  at_once.finish(of_stretches);
  one_by_one.finish(of_events);
  RC_ASSERT(of_stretches == of_events);
  for (std::size_t c = 0; c < 4; ++c) {
    RC_ASSERT(at_once.dimming(c).level == one_by_one.dimming(c).level);
    RC_ASSERT(at_once.dimming(c).hz == one_by_one.dimming(c).hz);
  }
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

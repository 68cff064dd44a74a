// Which input shows which lamp, from what each did in which window.
#include "core/plan/lamp_test.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <numeric>

#include "core/compare/cue_reading.h"
#include "core/judge/expectation.h"
#include "tests/core/gauges.h"

namespace tachproof {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

// Five windows that tell all lamps apart but two; one colour is never lit.
Gauge telling_gauge() {
  Gauge g = test::small_gauge();
  g.lamps = {{"left", {"white", "blue"}}, {"right", {"magenta", "white"}}, {"top", {"blue"}}};
  const auto lit = [&](const char* lamp, const char* colour) { return g.channel(lamp, colour); };
  g.windows = {{"quiet", 0, {}},
               {"near", 3000, {lit("left", "white"), 0}},
               {"at", 3200, {lit("left", "white") | lit("right", "magenta"), 0}},
               {"beyond", 3400, {lit("left", "blue"), 0}},
               {"top", 5000, {0, lit("top", "blue")}}};
  return g;
}

// What inputs show that are wired so: input by channel, -1 for none.
std::vector<std::optional<Cue>> shown_by(const Gauge& gauge, const std::vector<int>& input_of,
                                         bool active_high, std::size_t inputs) {
  const auto moved = [&](Channels channels) {
    Channels out = 0;
    for (std::size_t c = 0; c < input_of.size(); ++c)
      if (input_of[c] >= 0 && ((channels >> c) & 1) != 0) out |= Channels{1} << input_of[c];
    return out;
  };
  const Channels all = (Channels{1} << inputs) - 1;
  std::vector<std::optional<Cue>> shown;
  for (const Window& window : gauge.windows) {
    Cue cue{moved(window.cue.steady), moved(window.cue.blinking)};
    if (!active_high) cue.steady = all & ~cue.steady & ~cue.blinking;
    shown.emplace_back(cue);
  }
  return shown;
}

RC_GTEST_PROP(LampTest, FindsAnyWiringAndItsPolarity, ()) {
  const Gauge gauge = telling_gauge();
  std::vector<int> inputs(8);
  std::iota(inputs.begin(), inputs.end(), 0);
  for (std::size_t i = inputs.size(); i > 1; --i)
    std::swap(inputs[i - 1], inputs[*rc::gen::inRange<std::size_t>(0, i)]);
  inputs.resize(gauge.channels());
  const bool active_high = *rc::gen::arbitrary<bool>();
  const FoundWires found = find_wires(gauge, shown_by(gauge, inputs, active_high, 8), 8);
  RC_ASSERT(found.active_high == active_high);
  RC_ASSERT(found.alike.empty() && found.missing.empty() && found.strangers.empty());
  RC_ASSERT(found.never == std::vector<std::size_t>{3});  // right white
  RC_ASSERT(found.wires.size() == 4u);
  for (const FoundWires::Wire& wire : found.wires)
    RC_ASSERT(wire.input == static_cast<std::size_t>(inputs[wire.channel]));
  RC_ASSERT(found.silent.size() == 4u);
}

TEST(LampTest, SaysWhatItCannotKnow) {
  Gauge gauge = telling_gauge();
  gauge.windows[3].cue.steady |= gauge.channel("right", "white");  // with left blue, always
  auto shown = shown_by(gauge, {4, 1, -1, 2, 0}, true, 6);
  shown[2]->blinking |= 1 << 5;  // an open input that picks something up
  const FoundWires found = find_wires(gauge, shown, 6);
  EXPECT_THAT(found.wires, ElementsAre(FoundWires::Wire{4, 0}, FoundWires::Wire{0, 4}));
  ASSERT_EQ(found.alike.size(), 1u);
  EXPECT_THAT(found.alike[0].channels, ElementsAre(1, 3));
  EXPECT_THAT(found.alike[0].inputs, ElementsAre(1, 2));
  EXPECT_THAT(found.missing, ElementsAre(2));
  EXPECT_THAT(found.silent, ElementsAre(3));
  EXPECT_THAT(found.strangers, ElementsAre(5));
}

TEST(LampTest, AWindowThatWasNotSeenTellsNothing) {
  const Gauge gauge = telling_gauge();
  auto shown = shown_by(gauge, {0, 1, 2, 3, 4}, true, 5);
  shown[2].reset();  // the only one that lights right magenta
  const FoundWires found = find_wires(gauge, shown, 5);
  EXPECT_THAT(found.wires,
              ElementsAre(FoundWires::Wire{0, 0}, FoundWires::Wire{1, 1}, FoundWires::Wire{4, 4}));
  EXPECT_THAT(found.never, ElementsAre(2, 3));
  for (auto& cue : shown) cue.reset();
  EXPECT_THAT(find_wires(gauge, shown, 5).wires, IsEmpty());
}

// Of a unit that keeps the tolerance, in each window, through inputs without names.
TEST(LampTest, ItsStepsShowEveryWindowForLongEnough) {
  Gauge gauge = telling_gauge();
  const std::vector<std::string> inputs{"a", "b", "c", "d", "e"};
  const std::vector<Step> steps = lamp_test_steps(gauge);
  const Profile profile{std::span<const Step>(steps)};
  for (const double off : {-2.9, 0.0, 2.9}) {
    const auto events = test::SampledUnit{90 * ns_per_ms, off, ns_per_ms}.watch(gauge, profile);
    const Gauge nameless = gauge_of_inputs(gauge, inputs);
    const auto shown = shown_cues(nameless, expect(nameless, profile).reaches, events, profile.duration());
    EXPECT_EQ(find_wires(gauge, shown, 5).wires.size(), 4u) << off;
  }
}

// A camera takes its time from flashes: one before anything changes, one at the
// end, no two alike and none long after another.
TEST(LampTest, ForACameraFlashesOftenAndNeverAlike) {
  Gauge gauge = telling_gauge();
  gauge.tolerance.response_to = 4 * ns_per_s;
  const Profile profile(lamp_test_steps(gauge, "sync"));
  std::vector<Nanos> lengths;
  Nanos last_end = 0, longest = 0;
  for (const Action& action : profile.actions()) {
    const Press& press = std::get<Press>(action.what);
    EXPECT_EQ(press.action, "sync");
    longest = std::max(longest, action.at - last_end);
    last_end = action.at + press.lasts;
    lengths.push_back(press.lasts);
  }
  ASSERT_GE(lengths.size(), 3U);
  std::sort(lengths.begin(), lengths.end());
  EXPECT_EQ(std::adjacent_find(lengths.begin(), lengths.end()), lengths.end());
  EXPECT_LT(longest, 20 * ns_per_s);
  EXPECT_LT(profile.duration() - last_end, ns_per_s);
  EXPECT_LT(profile.rpm_at(profile.actions().front().at), gauge.falling_rpm(1));
  EXPECT_TRUE(Profile(lamp_test_steps(gauge)).actions().empty());
}

}  // namespace
}  // namespace tachproof

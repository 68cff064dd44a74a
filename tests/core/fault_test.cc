// Single faults: what they make of a gauge, how they are called, and which are listed.
#include "core/cause/fault.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "core/cause/fault_list.h"
#include "tests/core/gauges.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

// Dark, white from 3000, white and magenta from 3200 (count-in), blue blinking from 5000; all
// but the first hang from `shift`.
Gauge counting_gauge() {
  Gauge g = test::small_gauge();
  const Channels white = g.channel("left", "white"), blue = g.channel("left", "blue"),
                 magenta = g.channel("right", "magenta");
  g.anchors = {{"pit", 3000}, {"shift", 5000}};
  g.windows = {{"quiet", 0, {}},
               {"near", 3000, {white, 0}, "pit"},
               {"count-in-1", 4400, {magenta, 0}, "shift"},
               {"count-in-2", 4700, {magenta | white, 0}, "shift"},
               {"top", 5000, {magenta, blue}, "shift"}};
  return g;
}

Fault fault(Kind kind, std::optional<double> size = {}) {
  Fault f;
  f.kind = kind;
  f.size = size;
  return f;
}
Fault moved(std::size_t boundary, double by) {
  Fault f = fault(Kind::boundary_moved, by);
  f.boundary = boundary;
  return f;
}

TEST(Fault, EveryKindHasAWordThatReadsBack) {
  for (const Kind kind : all_fault_kinds()) EXPECT_EQ(fault_kind_named(word(kind)), kind);
  EXPECT_EQ(word(Kind::wrong_pulses_per_rev), "wrong-pulses-per-rev");
  EXPECT_FALSE(fault_kind_named("gremlins"));
}

TEST(Fault, AMovedBoundaryMovesAlone) {
  const Gauge g = counting_gauge(), changed = with_fault(g, moved(2, -7));
  EXPECT_EQ(changed.windows[2].from_rpm, 4393);
  EXPECT_EQ(changed.windows[3].from_rpm, 4700);
}

TEST(Fault, AMovedAnchorTakesAllThatHangsFromIt) {
  const Gauge g = counting_gauge();
  Fault f = fault(Kind::anchor_moved, 60);
  f.anchor = 1;
  const Gauge changed = with_fault(g, f);
  EXPECT_EQ(changed.anchors[1].second, 5060);
  EXPECT_EQ(changed.windows[1].from_rpm, 3000);
  EXPECT_EQ(changed.windows[2].from_rpm, 4460);
  EXPECT_EQ(changed.windows[4].from_rpm, 5060);
  EXPECT_EQ(describe(f, g), "anchor shift is 60 rpm too high (5060 rpm, set: 5000)");
}

TEST(Fault, ALongerCountInStillEndsWhereItDid) {
  const Gauge g = counting_gauge();
  Fault f = fault(Kind::count_in_span, 60);
  f.boundary = 2;
  const Gauge changed = with_fault(g, f);
  EXPECT_EQ(changed.windows[2].from_rpm, 4340);
  EXPECT_EQ(changed.windows[3].from_rpm, 4670);
  EXPECT_EQ(changed.windows[4].from_rpm, 5000);
  EXPECT_EQ(describe(f, g), "the count-in from count-in-1 is 60 rpm longer than set (660 rpm, set: 600)");
}

TEST(Fault, ACountInMayEndAtItsLastStep) {
  const Gauge g = counting_gauge();
  Fault f = fault(Kind::count_in_span, 60);
  f.boundary = 2;
  f.window = 3;
  const Gauge changed = with_fault(g, f);
  EXPECT_EQ(changed.windows[2].from_rpm, 4340);
  EXPECT_EQ(changed.windows[3].from_rpm, 4700);
  EXPECT_EQ(changed.windows[4].from_rpm, 5000);
  EXPECT_EQ(describe(f, g),
            "the count-in from count-in-1 to count-in-2 is 60 rpm longer than set (360 rpm, set: 300)");
}

TEST(Fault, OtherPulsesPerRevolutionScaleBoundariesAndDeadband) {
  const Gauge g = counting_gauge(), changed = with_fault(g, fault(Kind::wrong_pulses_per_rev, 4));
  EXPECT_EQ(changed.pulses_per_rev, 2);
  EXPECT_EQ(changed.windows[1].from_rpm, 6000);
  EXPECT_EQ(changed.deadband.rpm, 16);
}

TEST(Fault, WiresAndLampsChangeCues) {
  const Gauge g = counting_gauge();
  const Channels white = g.channel("left", "white"), blue = g.channel("left", "blue"),
                 magenta = g.channel("right", "magenta");
  Fault wires = fault(Kind::wires_swapped);
  wires.channel = 0;
  wires.other_channel = 2;
  EXPECT_EQ(with_fault(g, wires).windows[4].cue, (Cue{white, blue}));
  EXPECT_EQ(describe(wires, g), "the wires of left white and right magenta are swapped");
  Fault dark = fault(Kind::lamp_dark);
  dark.lamp = 0;
  EXPECT_EQ(with_fault(g, dark).windows[4].cue, (Cue{magenta, 0}));
  Fault stuck = fault(Kind::stuck_on);
  stuck.channel = 1;
  EXPECT_EQ(with_fault(g, stuck).windows[4].cue, (Cue{magenta | blue, 0}));
  Fault colour = fault(Kind::wrong_colour);
  colour.window = 1;
  colour.channel = 0;
  colour.other_channel = 1;
  EXPECT_EQ(with_fault(g, colour).windows[1].cue, (Cue{blue, 0}));
  EXPECT_EQ(with_fault(g, colour).windows[3].cue, (Cue{magenta | white, 0}));
  EXPECT_EQ(describe(colour, g), "window near shows left blue in place of left white");
}

TEST(Fault, ASlowResponseStandsInTheMiddleOfWhatIsAllowed) {
  const Gauge changed = with_fault(counting_gauge(), fault(Kind::slow_response, 300));
  EXPECT_EQ(changed.tolerance.response_from, 250 * ns_per_ms);
  EXPECT_EQ(changed.tolerance.response_to, 350 * ns_per_ms);
}

TEST(Fault, RefusesAPlaceThatIsMissingOrNotThere) {
  const Gauge g = counting_gauge();
  const auto refusal = [&](const Fault& f) -> std::string {
    try {
      with_fault(g, f);
      return "";
    } catch (const std::invalid_argument& e) {
      return e.what();
    }
  };
  EXPECT_EQ(refusal(fault(Kind::boundary_moved, 5)), "The fault 'boundary-moved' needs a place: boundary.");
  EXPECT_EQ(refusal(moved(9, 5)),
            "The fault 'boundary-moved' names a place that the gauge does not have: boundary.");
  EXPECT_EQ(refusal(fault(Kind::blink_rate)), "The fault 'blink-rate' needs a size.");
  EXPECT_EQ(refusal(fault(Kind::freeze, 5)), "The fault 'freeze' is no change of settings.");
  for (const Kind kind : all_fault_kinds()) {
    if (is_change_of_settings(kind)) continue;
    EXPECT_THAT(refusal(fault(kind, 1)), HasSubstr("no change of settings"));
  }
}

TEST(Fault, KeysAreThoseOfFiles) {
  const Gauge g = counting_gauge();
  const FaultKeys keys = keys_of(moved(1, 6), g);
  EXPECT_THAT(keys.words, testing::ElementsAre(testing::Pair("boundary", "near")));
  EXPECT_THAT(keys.numbers, testing::ElementsAre(testing::Pair("by_rpm", 6)));
}

// ---- the list ------------------------------------------------------------------------

std::vector<std::string> described(const FaultList& list, const Gauge& g) {
  std::vector<std::string> all;
  for (const ListedFault& fault : list.faults) all.push_back(describe(fault.fault, g));
  return all;
}

TEST(FaultList, HasEveryBoundaryUpAndDownByTwiceTheTolerance) {
  const Gauge g = counting_gauge();
  const std::vector<std::string> all = described(fault_list(g), g);
  EXPECT_THAT(all, Contains("boundary near is 6 rpm too high (3006 rpm, set: 3000)"));
  EXPECT_THAT(all, Contains("boundary near is 6 rpm too low (2994 rpm, set: 3000)"));
  EXPECT_THAT(all, Contains("anchor shift is 6 rpm too low (4994 rpm, set: 5000)"));
  EXPECT_THAT(all, Contains("there is no deadband (set: 8 rpm)"));
  EXPECT_THAT(all, Contains("windows quiet and top show each other's lamps"));
  EXPECT_THAT(all, Contains("left blue is always lit"));
  EXPECT_THAT(all, Contains("the lamps freeze in window top"));
}

// Only boundary near hangs from the anchor pit.
TEST(FaultList, FaultsThatNoStimulusTellsApartStandInOneLine) {
  const Gauge g = counting_gauge();
  const FaultList list = fault_list(g);
  const auto found = std::find_if(list.faults.begin(), list.faults.end(),
                                  [](const ListedFault& f) { return f.fault == moved(1, 6); });
  ASSERT_NE(found, list.faults.end());
  ASSERT_EQ(found->same_as.size(), 1u);
  EXPECT_EQ(describe(found->same_as[0], g), "anchor pit is 6 rpm too high (3006 rpm, set: 3000)");
}

TEST(FaultList, WhatShowsNothingIsLeftOutWithTheReason) {
  Gauge g = counting_gauge();
  g.windows[4].cue = {};  // then nothing blinks, and left blue is never lit
  std::vector<std::string> out;
  for (const LeftOutFault& fault : fault_list(g).left_out)
    out.push_back(describe(fault.fault, g) + ": " + fault.why);
  EXPECT_THAT(out, Contains("left blue is never lit: no window lights it"));
  EXPECT_THAT(out, Contains("windows quiet and top show each other's lamps: both show the same"));
  EXPECT_THAT(out, Contains("the reading scatters: it comes at random: a scenario meets it or not"));
  for (const std::string& fault : described(fault_list(g), g)) EXPECT_THAT(fault, Not(HasSubstr("blink")));
}

TEST(FaultList, WhatTheToleranceAllowsIsNoFault) {
  Gauge g = counting_gauge();
  g.deadband.rpm = 2;
  std::vector<std::string> out;
  for (const LeftOutFault& fault : fault_list(g).left_out)
    out.push_back(describe(fault.fault, g) + ": " + fault.why);
  EXPECT_THAT(out, Contains("there is no deadband (set: 2 rpm): nothing differs by more than the tolerance"));
}

TEST(FaultList, RefusesAGaugeThatIsNotSound) {
  Gauge g = counting_gauge();
  g.windows[2].from_rpm = 100;
  EXPECT_THROW(fault_list(g), std::invalid_argument);
}

}  // namespace
}  // namespace tachproof

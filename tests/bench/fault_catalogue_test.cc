// The catalogue, and what is said about a fault that cannot be.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <set>

#include "tests/bench/button_scene.h"
#include "tests/bench/unit_scene.h"

namespace tachproof::test {
namespace {

std::string refusal_of(const FaultSetting& f) {
  Behaviour behaviour;
  behaviour.faults = {f};
  return refusal(behaviour, button_gauge());
}

TEST(FaultCatalogue, HasTheFaultsThatRigFilesMayName) {
  std::vector<std::string> kinds;
  for (const FaultKind& kind : fault_catalogue()) kinds.push_back(kind.kind);
  EXPECT_THAT(kinds,
              ::testing::UnorderedElementsAre(
                  "boundary-moved", "deadband-missing", "deadband-width", "deadband-side", "wrong-colour",
                  "swapped-lamps", "stuck-on", "stuck-off", "blink-absent", "blink-rate", "blink-duty",
                  "wrong-pulses-per-rev", "slow-filter", "slow-response", "count-in-uneven",
                  "over-rev-missing", "intermittent-lamp", "freeze", "reset", "dropped-updates",
                  "noisy-reading", "take-ignored", "take-not-refused", "take-other-end", "take-late",
                  "take-lost", "settings-reset", "peak-not-cleared", "dim-missing", "dim-colour", "slow-boot",
                  "greets-wrong", "supply-drift", "brown-out", "no-return"));
}

TEST(FaultCatalogue, SaysWhatEachFaultDoesInASentence) {
  for (const FaultKind& kind : fault_catalogue()) {
    EXPECT_THAT(kind.does, ::testing::EndsWith(".")) << kind.kind;
    EXPECT_GT(kind.does.size(), 15u) << kind.kind;
  }
}

// Fitting words and numbers for whatever a kind takes.
FaultSetting example_of(const FaultKind& kind, bool with_optional) {
  const std::map<std::string, std::string> words{
      {"boundary", "count-in-1"}, {"lamp", "left"},  {"with", "right"}, {"colour", "white"}, {"to", "blue"},
      {"window", "beyond"},       {"sits", "above"}, {"anchor", "lane"}};
  const auto number = [](const std::string& name) { return name == "level" ? 50 : 0.5; };
  FaultSetting f{kind.kind, {}, {}};
  for (const std::string& name : kind.words) f.words[name] = words.at(name);
  for (const std::string& name : kind.numbers) f.numbers[name] = number(name);
  if (!with_optional) return f;
  for (const std::string& name : kind.optional_words) f.words[name] = words.at(name);
  for (const std::string& name : kind.optional_numbers) f.numbers[name] = number(name);
  return f;
}

TEST(FaultCatalogue, TakesWhatItSaysItTakes) {
  for (const FaultKind& kind : fault_catalogue())
    for (bool with_optional : {false, true}) EXPECT_EQ(refusal_of(example_of(kind, with_optional)), "");
}

TEST(FaultCatalogue, NeedsEveryWordAndNumberThatIsNotOptional) {
  for (const FaultKind& kind : fault_catalogue()) {
    for (const std::string& name : kind.words) {
      FaultSetting f = example_of(kind, true);
      f.words.erase(name);
      EXPECT_EQ(refusal_of(f), "The fault '" + kind.kind + "' needs the word '" + name + "'.");
    }
    for (const std::string& name : kind.numbers) {
      FaultSetting f = example_of(kind, true);
      f.numbers.erase(name);
      EXPECT_EQ(refusal_of(f), "The fault '" + kind.kind + "' needs the number '" + name + "'.");
    }
  }
}

TEST(FaultCatalogue, RefusesWhatAFaultDoesNotTake) {
  EXPECT_EQ(refusal_of(fault("deadband-missing", {{"lamp", "left"}})),
            "The fault 'deadband-missing' does not take the word 'lamp'.");
  EXPECT_EQ(refusal_of(fault("deadband-missing", {}, {{"rpm", 3}})),
            "The fault 'deadband-missing' does not take the number 'rpm'.");
}

TEST(FaultCatalogue, NoNumberMayBeNan) {
  for (const FaultKind& kind : fault_catalogue())
    for (const std::string& name : kind.numbers) {
      FaultSetting f = example_of(kind, true);
      f.numbers[name] = std::nan("");
      EXPECT_THAT(refusal_of(f), ::testing::HasSubstr(name + " nan; it must be ")) << kind.kind;
    }
}

TEST(FaultCatalogue, RefusesNamesThatTheGaugeDoesNotHave) {
  EXPECT_EQ(refusal_of(fault("boundary-moved", {{"boundary", "elsewhere"}}, {{"by_rpm", 5}})),
            "The fault 'boundary-moved' names the boundary 'elsewhere', which the gauge does not have.");
  // The lowest window begins at no boundary.
  EXPECT_EQ(refusal_of(fault("boundary-moved", {{"boundary", "quiet"}}, {{"by_rpm", 5}})),
            "The fault 'boundary-moved' names the boundary 'quiet', which the gauge does not have.");
  EXPECT_EQ(refusal_of(fault("count-in-uneven", {{"boundary", "there"}}, {{"by_rpm", 5}})),
            "The fault 'count-in-uneven' needs a count-in boundary, not 'there'.");
  EXPECT_EQ(refusal_of(fault("stuck-off", {{"lamp", "bottom"}})),
            "The fault 'stuck-off' names the lamp 'bottom', which the gauge does not have.");
  EXPECT_EQ(refusal_of(fault("stuck-on", {{"lamp", "top"}, {"colour", "white"}})),
            "The fault 'stuck-on' names the colour 'white', which the lamp 'top' does not have.");
  EXPECT_EQ(refusal_of(fault("blink-absent", {{"window", "elsewhere"}})),
            "The fault 'blink-absent' names the window 'elsewhere', which the gauge does not have.");
  EXPECT_EQ(refusal_of(fault("deadband-side", {{"sits", "left"}})),
            "The fault 'deadband-side' has sits 'left'; it must be below, centred or above.");
}

TEST(FaultCatalogue, RefusesNumbersOutOfTheirRange) {
  EXPECT_EQ(refusal_of(fault("dropped-updates", {}, {{"share", 1.5}})),
            "The fault 'dropped-updates' has share 1.5; it must be 0 to 1.");
}

TEST(FaultCatalogue, RefusesAFaultOfAButtonThatTheGaugeDoesNotHave) {
  const auto refused = [](const FaultSetting& f) {
    Behaviour behaviour;
    behaviour.faults = {f};
    return refusal(behaviour, test_gauge());
  };
  for (const char* kind : {"take-ignored", "take-not-refused", "take-other-end", "take-late", "take-lost"})
    EXPECT_EQ(refused(fault(kind)),
              "The fault '" + std::string(kind) + "' needs a gauge with a button that takes the rpm.");
  EXPECT_EQ(refused(fault("peak-not-cleared")),
            "The fault 'peak-not-cleared' needs a gauge with a button that shows the peak.");
  EXPECT_EQ(refused(fault("dim-missing", {}, {{"level", 50}})),
            "The fault 'dim-missing' needs a gauge with a button that dims.");
  EXPECT_EQ(refusal_of(fault("dim-missing", {}, {{"level", 33}})),
            "The fault 'dim-missing' has level 33, which no button has.");
  EXPECT_EQ(refused(fault("settings-reset", {}, {{"by_rpm", 50}})),
            "The fault 'settings-reset' needs a gauge with an anchor.");
  EXPECT_EQ(refusal_of(fault("settings-reset", {{"anchor", "elsewhere"}}, {{"by_rpm", 50}})),
            "The fault 'settings-reset' names the anchor 'elsewhere', from which nothing hangs.");
  EXPECT_EQ(refused(fault("greets-wrong", {{"lamp", "left"}})),
            "The fault 'greets-wrong' needs a gauge that greets.");
  EXPECT_EQ(refusal_of(fault("dim-colour", {{"lamp", "top"}, {"to", "white"}})),
            "The fault 'dim-colour' names the colour 'white', which the lamp 'top' does not have.");
}

TEST(FaultCatalogue, RefusesATakeAtTheOtherEndOfAWindowWithOneEnd) {
  Gauge gauge = button_gauge();
  gauge.windows[1].anchor.clear();
  Behaviour behaviour;
  behaviour.faults = {fault("take-other-end")};
  EXPECT_EQ(
      refusal(behaviour, gauge),
      "The fault 'take-other-end' needs a take whose window has both its boundaries on the same anchor.");
}

TEST(FaultCatalogue, RefusesABlinkFaultForAGaugeThatDoesNotBlink) {
  Gauge gauge = test_gauge();
  gauge.windows.pop_back();
  gauge.blink.reset();
  Behaviour behaviour;
  behaviour.faults = {fault("blink-rate", {}, {{"hz", 5}})};
  try {
    const SimulatedUnit unit(gauge, behaviour, gauge);
    FAIL();
  } catch (const std::invalid_argument& e) {
    EXPECT_STREQ(e.what(), "The fault 'blink-rate' needs a gauge that blinks.");
  }
}

TEST(FaultCatalogue, ListsWhatThereIsForAnUnknownName) {
  EXPECT_EQ(
      refusal_of(fault("gremlins")),
      "The fault 'gremlins' is not known; there are boundary-moved, count-in-uneven, deadband-missing, "
      "deadband-width, deadband-side, over-rev-missing, wrong-colour, swapped-lamps, stuck-on, stuck-off, "
      "blink-absent, blink-rate, blink-duty, wrong-pulses-per-rev, slow-filter, slow-response, "
      "dropped-updates, noisy-reading, intermittent-lamp, freeze, reset, take-ignored, take-not-refused, "
      "take-other-end, take-late, take-lost, settings-reset, peak-not-cleared, dim-missing, dim-colour, "
      "slow-boot, greets-wrong, supply-drift, brown-out, no-return.");
}

}  // namespace
}  // namespace tachproof::test

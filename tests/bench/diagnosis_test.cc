// Causes of failed runs of the simulated unit, found from what the judge was told.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdio>
#include <cstdlib>

#include "bench/files/files.h"
#include "core/cause/diagnosis.h"
#include "core/cause/size_fit.h"
#include "core/cause/telling_apart.h"
#include "tests/bench/diagnosed_pairs.h"
#include "tests/bench/fault_examples.h"
#include "tests/bench/judged_unit.h"
#include "tests/bench/unit_scene.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

const Gauge& drumlin() {
  static const Gauge gauge =
      load_gauge(std::filesystem::path(TACHPROOF_SOURCE_DIR) / "fixtures/gauges/drumlin.yaml");
  return gauge;
}
const std::vector<Step>& acceptance() {
  static const std::vector<Step> steps =
      load_scenario(std::filesystem::path(TACHPROOF_SOURCE_DIR) / "scenarios/acceptance.yaml").steps;
  return steps;
}

Behaviour with_fault_of(FaultSetting fault) {
  Behaviour behaviour;
  behaviour.response_ms = 20;
  behaviour.faults = {std::move(fault)};
  return behaviour;
}
Behaviour sound() {
  Behaviour behaviour;
  behaviour.response_ms = 20;
  return behaviour;
}

// A Drumlin that runs something else, proven by the acceptance scenario.
Diagnosis diagnosed(const Gauge& runs, const Behaviour& behaviour,
                    const std::vector<OtherGauge>& others = {}) {
  const PlayedUnit played = played_unit(drumlin(), runs, behaviour, acceptance());
  return diagnose(drumlin(), {{played.result, played.evidence}}, others);
}
Diagnosis diagnosed(const FaultSetting& fault) { return diagnosed(drumlin(), with_fault_of(fault)); }

const Cause& first(const Diagnosis& diagnosis) {
  static const Cause none;
  return diagnosis.causes.list.empty() ? none : diagnosis.causes.list.front();
}
std::string kind(const Diagnosis& diagnosis) {
  const Cause& cause = first(diagnosis);
  return cause.changes.empty() ? diagnosis.causes.none : cause.changes.front().kind;
}
double number(const CauseChange& change, const std::string& key) {
  for (const auto& [name, value] : change.numbers)
    if (name == key) return value;
  return not_measured;
}

TEST(Evidence, JudgedAgainFromMemoryTheResultIsTheSame) {
  FaultSetting fault{"boundary-moved", {{"boundary", "on-limit"}}, {{"by_rpm", 12}}};
  const PlayedUnit played = played_unit(drumlin(), drumlin(), with_fault_of(fault), acceptance());
  const RunResult again = played.evidence.judged(drumlin());
  EXPECT_EQ(test::told(again), test::told(played.result));
  EXPECT_EQ(again.evidence.pulses, played.result.evidence.pulses);
}

TEST(Diagnosis, AKeptOldAnchorIsOneCauseThatExplainsAll) {
  Gauge old = drumlin();
  for (Window& window : old.windows)
    if (window.anchor == "pit") window.from_rpm -= 60;
  const Diagnosis diagnosis = diagnosed(old, sound());
  ASSERT_EQ(diagnosis.causes.list.size(), 1u) << first(diagnosis).text << diagnosis.causes.none;
  const Cause& cause = first(diagnosis);
  EXPECT_TRUE(cause.whole()) << cause.explains << " of " << cause.of;
  EXPECT_GT(cause.of, 10u);
  EXPECT_TRUE(diagnosis.causes.told_apart);
  ASSERT_EQ(cause.changes.size(), 1u);
  EXPECT_EQ(cause.changes[0].kind, "anchor-moved");
  EXPECT_EQ(number(cause.changes[0], "from_rpm"), 3720);
  EXPECT_NEAR(number(cause.changes[0], "to_rpm"), 3660, number(cause.changes[0], "expanded_uncertainty_rpm"));
  EXPECT_LT(number(cause.changes[0], "expanded_uncertainty_rpm"), 1.5);
  EXPECT_THAT(cause.text, HasSubstr("The unit acts as if anchor pit were 3660 rpm (set: 3720"));
  EXPECT_EQ(cause.todo, "Write the settings to the unit again.");
}

TEST(Diagnosis, WrongPulsesPerRevolutionAreNamedWithTheirNumber) {
  for (const double pulses : {4.0, 2.0}) {
    const Diagnosis diagnosis = diagnosed({"wrong-pulses-per-rev", {}, {{"pulses_per_rev", pulses}}});
    EXPECT_EQ(kind(diagnosis), "wrong-pulses-per-rev");
    EXPECT_TRUE(first(diagnosis).whole());
    ASSERT_FALSE(first(diagnosis).changes.empty());
    EXPECT_EQ(number(first(diagnosis).changes[0], "pulses_per_rev"), pulses);
    EXPECT_EQ(first(diagnosis).todo, "Set pulses per revolution to 3 in the unit.");
  }
}

// A U that is shown has a figure of its own, however small it is.
TEST(Diagnosis, ANumberOfPulsesIsShownAsExactlyAsItIsKnown) {
  const Diagnosis diagnosis = diagnosed({"wrong-pulses-per-rev", {}, {{"pulses_per_rev", 2.98765}}});
  EXPECT_EQ(kind(diagnosis), "wrong-pulses-per-rev");
  EXPECT_THAT(first(diagnosis).text, HasSubstr("The unit counts 2.987"));
  EXPECT_THAT(first(diagnosis).text, testing::Not(testing::ContainsRegex("U = 0[.]0*[)]")))
      << first(diagnosis).text;
}

// Two thresholds near each other do not tell a moved anchor from other pulses per revolution: U is wide.
TEST(Diagnosis, PulsesPerRevolutionThatAreHardlyKnownAreNeverTakenForNone) {
  Gauge set = drumlin();
  set.pulses_per_rev = 0.5;
  Trial trial;
  Fault anchor, pulses;
  anchor.kind = Fault::Kind::anchor_moved;
  anchor.anchor = 0;
  anchor.size = 1;
  pulses.kind = Fault::Kind::wrong_pulses_per_rev;
  pulses.size = 0.1;
  trial.hypothesis.faults = {anchor, pulses};
  trial.hypothesis.u = {not_measured, not_measured};
  trial.hypothesis.gauge = acting(set, trial.hypothesis.faults);
  trial.results.emplace_back();
  for (const std::size_t b : {1u, 2u}) {
    BoundaryResult row;
    row.boundary = set.windows[b].name;
    row.direction = Direction::rising;
    row.threshold_rpm = trial.hypothesis.gauge.rising_rpm(b);
    row.expanded_uncertainty_rpm = 25;
    trial.results[0].boundaries.push_back(row);
  }
  const Hypothesis fitted = with_fitted_sizes(set, trial);
  ASSERT_GT(fitted.u[1], 0.1);
  EXPECT_GT(fitted.faults[1].size.value_or(0), 0);
}

TEST(Diagnosis, SwappedLampsAndWiresAreNamed) {
  const Diagnosis lamps = diagnosed({"swapped-lamps", {{"lamp", "left"}, {"with", "right"}}, {}});
  EXPECT_TRUE(first(lamps).whole()) << lamps.causes.none;
  EXPECT_EQ(kind(lamps), "swapped-lamps");
  Gauge crossed = drumlin();
  const Channels one = crossed.channel("mid", "blue"), other = crossed.channel("right", "magenta");
  const auto cross = [&](Channels lit) {
    return (lit & ~(one | other)) | ((lit & one) != 0 ? other : 0) | ((lit & other) != 0 ? one : 0);
  };
  for (Window& window : crossed.windows) window.cue = {cross(window.cue.steady), cross(window.cue.blinking)};
  const Diagnosis wires = diagnosed(crossed, sound());
  EXPECT_EQ(kind(wires), "wires-swapped");
  EXPECT_TRUE(first(wires).whole());
  EXPECT_THAT(first(wires).changes[0].channels, testing::UnorderedElementsAre("mid blue", "right magenta"));
  EXPECT_THAT(first(wires).todo, HasSubstr("mid blue and right magenta"));
}

TEST(Diagnosis, ADarkLampAWrongColourAndAStuckOneAreNamed) {
  const Diagnosis dark = diagnosed({"stuck-off", {{"lamp", "right"}}, {}});
  EXPECT_EQ(kind(dark), "lamp-dark");
  EXPECT_TRUE(first(dark).whole());
  EXPECT_THAT(first(dark).todo, HasSubstr("lamp right"));
  const Diagnosis colour = diagnosed(
      {"wrong-colour", {{"lamp", "mid"}, {"colour", "magenta"}, {"to", "blue"}, {"window", "beyond"}}, {}});
  EXPECT_EQ(kind(colour), "wrong-colour");
  EXPECT_TRUE(first(colour).whole());
  const Diagnosis stuck = diagnosed({"stuck-on", {{"lamp", "top"}, {"colour", "magenta"}}, {}});
  EXPECT_EQ(kind(stuck), "stuck-on");
  EXPECT_TRUE(first(stuck).whole());
}

TEST(Diagnosis, ADeadbandThatIsMissingOrElsewhereIsNamed) {
  const Diagnosis missing = diagnosed({"deadband-missing", {}, {}});
  EXPECT_EQ(kind(missing), "deadband-missing");
  EXPECT_TRUE(first(missing).whole());
  const Diagnosis wide = diagnosed({"deadband-width", {}, {{"rpm", 20}}});
  EXPECT_EQ(kind(wide), "deadband-width");
  EXPECT_NEAR(number(first(wide).changes.at(0), "rpm"), 20, 1);
  const Diagnosis side = diagnosed({"deadband-side", {{"sits", "above"}}, {}});
  EXPECT_EQ(kind(side), "deadband-side");
}

TEST(Diagnosis, ASlowUnitAndABlinkAreNamedWithTheirNumbers) {
  const Diagnosis slow = diagnosed({"slow-response", {}, {{"ms", 300}}});
  EXPECT_EQ(kind(slow), "slow-response");
  EXPECT_NEAR(number(first(slow).changes.at(0), "ms"), 310, 25);
  const Diagnosis rate = diagnosed({"blink-rate", {}, {{"hz", 6}}});
  EXPECT_EQ(kind(rate), "blink-rate");
  EXPECT_NEAR(number(first(rate).changes.at(0), "hz"), 6, 0.1);
  EXPECT_TRUE(first(rate).whole());
}

// So late that every lamp belongs to another ramp.
TEST(Diagnosis, AUnitThatAnswersFarTooLateIsNamed) {
  for (const double ms : {900.0, 2600.0}) {
    const Diagnosis late = diagnosed({"slow-response", {}, {{"ms", ms}}});
    EXPECT_EQ(kind(late), "slow-response") << ms;
    EXPECT_NEAR(number(first(late).changes.at(0), "ms"), ms, 60) << first(late).text;
  }
}

// One spell is no habit.
TEST(Diagnosis, AUnitThatStopsForGoodIsNotOneThatSkipsUpdates) {
  const Diagnosis stopped = diagnosed({"freeze", {}, {{"at_s", 100}}});
  EXPECT_EQ(kind(stopped), "freeze");
  for (const Cause& cause : stopped.causes.list)
    EXPECT_NE(cause.changes.at(0).kind, "dropped-updates") << cause.text;
}

TEST(Diagnosis, AnotherGaugeFileIsNamedWhenTheUnitBehavesAsItSays) {
  Gauge old = drumlin();
  for (Window& window : old.windows)
    if (window.anchor == "pit") window.from_rpm -= 60;
  old.anchors[0].second -= 60;
  Gauge other = drumlin();
  other.windows[8].from_rpm += 100;
  const Diagnosis diagnosis = diagnosed(old, sound(), {{"other.yaml", other}, {"drumlin-old.yaml", old}});
  EXPECT_EQ(kind(diagnosis), "settings-of");
  EXPECT_THAT(first(diagnosis).text, HasSubstr("behaves exactly as drumlin-old.yaml says"));
  EXPECT_TRUE(first(diagnosis).whole());
  EXPECT_TRUE(diagnosis.causes.told_apart);
}

TEST(Diagnosis, TwoFaultsAreBothNamed) {
  Behaviour two = with_fault_of({"stuck-off", {{"lamp", "top"}}, {}});
  two.faults.push_back({"boundary-moved", {{"boundary", "on-limit"}}, {{"by_rpm", 12}}});
  const Diagnosis diagnosis = diagnosed(drumlin(), two);
  ASSERT_EQ(first(diagnosis).changes.size(), 2u) << first(diagnosis).text << diagnosis.causes.none;
  EXPECT_TRUE(first(diagnosis).whole());
  EXPECT_THAT(first(diagnosis).text, HasSubstr("on-limit"));
  EXPECT_THAT(first(diagnosis).text, HasSubstr("top"));
}

std::vector<std::string> kinds(const Diagnosis& diagnosis) {
  std::vector<std::string> all;
  for (const CauseChange& change : first(diagnosis).changes) all.push_back(change.kind);
  return all;
}
Diagnosis diagnosed_two(FaultSetting one, FaultSetting other) {
  Behaviour two = with_fault_of(std::move(one));
  two.faults.push_back(std::move(other));
  return diagnosed(drumlin(), two);
}
const FaultSetting moved{"boundary-moved", {{"boundary", "beyond"}}, {{"by_rpm", 14}}};

TEST(Diagnosis, AFaultOfTheSettingsIsNamedBesideASupplyThatFailedForAMoment) {
  const Diagnosis both = diagnosed_two(moved, {"reset", {}, {{"at_s", 20}, {"boot_ms", 700}}});
  EXPECT_THAT(kinds(both), testing::UnorderedElementsAre("boundary-moved", "reset"));
  EXPECT_TRUE(first(both).whole()) << first(both).text << both.causes.none;
  EXPECT_THAT(first(both).todo, HasSubstr("Write the settings to the unit again."));
  EXPECT_THAT(first(both).todo, HasSubstr("voltage of the unit's supply"));
}

TEST(Diagnosis, AFaultOfTheSettingsIsNamedBesideALooseLamp) {
  const FaultSetting loose{"intermittent-lamp", {{"lamp", "left"}}, {{"per_min", 60}, {"for_ms", 150}}};
  const Diagnosis both = diagnosed_two(moved, loose);
  EXPECT_THAT(kinds(both), testing::UnorderedElementsAre("boundary-moved", "intermittent-lamp"));
  EXPECT_TRUE(first(both).whole()) << first(both).text << both.causes.none;
  EXPECT_THAT(first(both).text, HasSubstr("lamp left goes dark now and then"));
}

TEST(Diagnosis, ALampThatIsDarkForMostOfTheTimeAndComesBackIsALooseOne) {
  const Diagnosis loose =
      diagnosed({"intermittent-lamp", {{"lamp", "right"}}, {{"per_min", 500}, {"for_ms", 300}}});
  EXPECT_EQ(kind(loose), "intermittent-lamp") << first(loose).text;
  EXPECT_TRUE(first(loose).whole());
}

// Set above its neighbour, a boundary is reached on the way up when the neighbour is, and left on the
// way down where it stands itself: a unit waits for each in turn.
TEST(Diagnosis, ABoundaryThatHasChangedPlacesWithItsNeighbourIsNamed) {
  const Diagnosis past = diagnosed({"boundary-moved", {{"boundary", "beyond"}}, {{"by_rpm", -160}}});
  EXPECT_EQ(kind(past), "boundary-moved") << first(past).text;
  EXPECT_TRUE(first(past).whole());
  EXPECT_NEAR(number(first(past).changes.at(0), "by_rpm"), -160, 1.5);
}

// Without a deadband lamps chatter where they change; with a noisy reading, as far round it as that goes.
TEST(Diagnosis, ANoisyReadingIsToldFromAMissingDeadband) {
  const Diagnosis noisy = diagnosed({"noisy-reading", {}, {{"rpm", 15}}});
  EXPECT_EQ(kind(noisy), "noisy-reading") << first(noisy).text;
  EXPECT_EQ(kind(diagnosed({"deadband-missing", {}, {}})), "deadband-missing");
}

TEST(Diagnosis, AHealthyUnitHasNoCauseAndNothingIsMissing) {
  const Diagnosis diagnosis = diagnosed(drumlin(), sound());
  EXPECT_TRUE(diagnosis.causes.empty());
  EXPECT_EQ(diagnosis.judged, 0u);
}

TEST(Diagnosis, OfAnUndecidedRunItSaysWhatIsMissing) {
  const std::vector<Step> fast{Hold{3000, ns_per_s}, RampByRate{8100, 3000}, Hold{8100, 4 * ns_per_s},
                               RampByRate{3000, 3000}, Hold{3000, ns_per_s}};
  const PlayedUnit played = played_unit(drumlin(), drumlin(), sound(), fast);
  ASSERT_EQ(played.result.verdict, Verdict::undecided);
  const Diagnosis diagnosis = diagnose(drumlin(), {{played.result, played.evidence}});
  EXPECT_TRUE(diagnosis.causes.list.empty());
  ASSERT_FALSE(diagnosis.causes.missing.empty());
  EXPECT_THAT(diagnosis.causes.missing.front(), HasSubstr("closing"));
}

TEST(Diagnosis, CausesThatTheEvidenceDoesNotTellApartAreListedTogetherAndTheNextRunTells) {
  // On-limit alone is visited: its boundary, or the anchor with all that hangs from it.
  const std::vector<Step> one{Hold{3550, ns_per_s}, RampByRate{3660, 10}, Hold{3660, ns_per_s},
                              RampByRate{3550, 10}, Hold{3550, ns_per_s}, RampByRate{3660, 60},
                              Hold{3660, ns_per_s}, RampByRate{3550, 60}, Hold{3550, ns_per_s}};
  const Behaviour behaviour = with_fault_of({"boundary-moved", {{"boundary", "on-limit"}}, {{"by_rpm", 12}}});
  const PlayedUnit old = played_unit(drumlin(), drumlin(), behaviour, one);
  ASSERT_EQ(old.result.verdict, Verdict::fail) << test::told(old.result);
  const Diagnosis open = diagnose(drumlin(), {{old.result, old.evidence}});
  EXPECT_GT(open.causes.list.size(), 1u);
  EXPECT_FALSE(open.causes.told_apart);

  std::vector<Gauge> acts;
  for (const Hypothesis& hypothesis : open.hypotheses) acts.push_back(hypothesis.gauge);
  std::vector<Step> next;
  for (const ToldStep& told : steps_that_tell_apart(drumlin(), acts)) next.push_back(told.step);
  ASSERT_FALSE(next.empty());
  EXPECT_LT(Profile(next).duration(), 60 * ns_per_s);
  const PlayedUnit later = played_unit(drumlin(), drumlin(), behaviour, next);
  const Diagnosis both = diagnose(drumlin(), {{old.result, old.evidence}, {later.result, later.evidence}});
  EXPECT_TRUE(both.causes.told_apart);
  EXPECT_EQ(kind(both), "boundary-moved");
  EXPECT_NEAR(number(first(both).changes.at(0), "by_rpm"), 12, 1);
}

// The test gauge with an anchor for either half, whose unit has these faults.
MutationPair pair_with(const std::vector<FaultSetting>& faults) {
  MutationPair pair;
  pair.gauge = test::test_gauge();
  pair.gauge.anchors = {{"lane", 4000}, {"shift", 5500}};
  for (std::size_t w = 1; w < pair.gauge.windows.size(); ++w)
    pair.gauge.windows[w].anchor = pair.gauge.anchors[w >= pair.gauge.windows.size() / 2 ? 1 : 0].first;
  pair.runs = pair.gauge;
  pair.behaviour.response_ms = 20;
  for (const FaultSetting& fault : faults) {
    pair.behaviour.faults.push_back(fault);
    pair.mutations.push_back({fault.kind, 0});
  }
  return pair;
}

TEST(Diagnosis, EveryFaultOfTheCatalogueStandsFirst) {
  const std::vector<Step> steps = test::proving_steps(test::test_gauge());
  for (const FaultSetting& fault : test::fault_examples()) {
    const DiagnosedPair one = diagnosed_unit(pair_with({fault}), {}, steps);
    EXPECT_TRUE(one.first) << said(one) << "\n" << test::told(one.result).substr(0, 600);
  }
}

// The lamps were dark, and stayed dark: whether they froze or lost their supply cannot be told.
TEST(Diagnosis, DarkLampsThatStayDarkHaveEitherCause) {
  const DiagnosedPair dark = diagnosed_unit(pair_with({{"freeze", {}, {{"at_s", 0.5}, {"for_s", 5}}}}), {},
                                            test::proving_steps(test::test_gauge()));
  ASSERT_EQ(dark.verdict, Verdict::fail);
  std::vector<std::string> kinds;
  for (const Cause& cause : dark.diagnosis.causes.list) kinds.push_back(cause.changes.front().kind);
  EXPECT_THAT(kinds, testing::IsSupersetOf({"freeze", "reset"})) << said(dark);
  EXPECT_FALSE(dark.diagnosis.causes.told_apart);
}

// Slow ramps go over each boundary where it is set to be: one that is elsewhere is crossed fast, and its size
// is known no better than that.
TEST(Diagnosis, ABoundaryOffTheSlowRampsIsNamedWithAWideU) {
  const DiagnosedPair off =
      diagnosed_unit(pair_with({{"boundary-moved", {{"boundary", "go"}}, {{"by_rpm", 40}}}}), {},
                     test::proving_steps(test::test_gauge()));
  EXPECT_TRUE(off.first) << said(off);
  ASSERT_EQ(off.diagnosis.hypotheses.size(), 1u) << said(off);
  const Hypothesis& h = off.diagnosis.hypotheses.front();
  EXPECT_NEAR(h.faults.front().size.value_or(0), 40, h.u.front());
  EXPECT_GT(h.u.front(), 20);
}

std::vector<std::string> first_kinds(const Diagnosis& diagnosis) {
  std::vector<std::string> all;
  for (const Cause& cause : diagnosis.causes.list) all.push_back(cause.changes.front().kind);
  return all;
}

// A reading in 200 updates or so, two seconds from one to the next: as late as it comes, each change of the
// lamps is to a window that the rpm of the moment allows.
TEST(Diagnosis, AUnitThatHardlyEverReadsIsNamedByWhenItRead) {
  for (const double share : {0.97, 0.995}) {
    const DiagnosedPair seldom = diagnosed_unit(pair_with({{"dropped-updates", {}, {{"share", share}}}}), {},
                                                test::proving_steps(test::test_gauge()));
    EXPECT_TRUE(seldom.first) << said(seldom);
    ASSERT_FALSE(seldom.diagnosis.hypotheses.empty());
    EXPECT_TRUE(first(seldom.diagnosis).whole()) << said(seldom);
    EXPECT_TRUE(seldom.diagnosis.hypotheses.front().reads_seldom());
  }
  for (const std::uint64_t number : {8, 16}) EXPECT_TRUE(diagnosed_pair(202, number).first) << number;
}

// What a setting changes beside it is told by the windows that it goes to.
TEST(Diagnosis, ASettingIsNamedBesideAUnitThatHardlyEverReads) {
  const DiagnosedPair both =
      diagnosed_unit(pair_with({{"dropped-updates", {}, {{"share", 0.97}}}, {"blink-rate", {}, {{"hz", 5}}}}),
                     {}, test::proving_steps(test::test_gauge()));
  EXPECT_TRUE(both.first) << said(both);
}

// Without a change of the lamps nothing says whether pulses or readings are missing.
TEST(Diagnosis, ALampThatNeverChangesHasEitherCause) {
  const DiagnosedPair one = diagnosed_pair(202, 101);
  ASSERT_EQ(one.verdict, Verdict::fail);
  EXPECT_THAT(first_kinds(one.diagnosis), testing::IsSupersetOf({"no-signal", "dropped-updates"}))
      << said(one);
  EXPECT_FALSE(one.diagnosis.causes.told_apart);
}

// A low-pass that begins at 0 is behind for several of its time constants after the first pulse.
TEST(Diagnosis, AFilterThatBeginsAtRestIsNamedWithItsTimeConstant) {
  const DiagnosedPair slow = diagnosed_unit(pair_with({{"slow-filter", {}, {{"ms", 2700}}}}), {},
                                            test::proving_steps(test::test_gauge()));
  ASSERT_FALSE(slow.diagnosis.hypotheses.empty());
  const Fault& fault = slow.diagnosis.hypotheses.front().faults.front();
  EXPECT_EQ(fault.kind, Fault::Kind::slow_filter) << said(slow);
  EXPECT_NEAR(fault.size.value_or(0), 2700, 200);
}

TEST(Diagnosis, ACountInOfAnotherSpanThatEndsAtItsLastStepIsNamed) {
  const DiagnosedPair span = diagnosed_pair(202, 62);
  EXPECT_TRUE(span.first) << said(span);
  EXPECT_THAT(first(span.diagnosis).text, HasSubstr("from count-in-1 to count-in-5 spanned "));
}

// Its boundary is where the next one is, to the last digit.
TEST(Diagnosis, AWindowThatIsMissingIsABoundaryThatIsWhereTheNextOneIs) {
  const DiagnosedPair missing = diagnosed_pair(202, 90);
  EXPECT_TRUE(missing.first) << said(missing);
}

// Without a deadband the last digit of a reading makes the lamps chatter: that is a cause of its own.
TEST(Diagnosis, AFaultOfAGaugeWithoutADeadbandIsNamedBesideTheChatter) {
  const DiagnosedPair both = diagnosed_pair(202, 1846);
  EXPECT_TRUE(both.first) << said(both);
  EXPECT_THAT(kinds(both.diagnosis), testing::UnorderedElementsAre("noisy-reading", "reset"));
}

// Two lamps that say nothing would explain any run of a gauge with two lamps: what says more stands before
// them.
TEST(Diagnosis, WhatLeavesNothingOfTheEvidenceIsNoCause) {
  const DiagnosedPair two = diagnosed_pair(303, 50);
  ASSERT_FALSE(two.diagnosis.hypotheses.empty());
  EXPECT_FALSE(two.diagnosis.hypotheses.front().has(Fault::Kind::intermittent_lamp)) << said(two);
}

// Each with another one of it, wherever both have findings of their own.
TEST(Diagnosis, TwoFaultsOfTheCatalogueAreBothNamed) {
  const std::vector<Step> steps = test::proving_steps(test::test_gauge());
  const std::vector<FaultSetting> all = test::fault_examples();
  const bool full = std::getenv("TACHPROOF_FULL") != nullptr;
  std::size_t pairs = 0, named = 0;
  std::string misses;
  for (std::size_t i = 0; i < all.size(); ++i)
    for (const std::size_t further : full ? std::vector<std::size_t>{5, 11} : std::vector<std::size_t>{5}) {
      const FaultSetting &a = all[i], &b = all[(i + further) % all.size()];
      if (a.kind == b.kind) continue;
      const DiagnosedPair both = diagnosed_unit(pair_with({a, b}), {pair_with({a}), pair_with({b})}, steps);
      if (both.traceless || both.shadowed) continue;
      ++pairs;
      named += both.listed;
      if (!both.listed) misses += said(both) + "\n";
    }
  EXPECT_GE(static_cast<double>(named), 0.8 * static_cast<double>(pairs)) << named << " of " << pairs << "\n"
                                                                          << misses;
  if (full) std::printf("%zu of %zu are both named; not:\n%s", named, pairs, misses.c_str());
}

TEST(DiagnosisStudy, ALineOfAPairComesBackAsItWas) {
  NamedLine line;
  line.seed = 7;
  line.number = 12;
  line.kinds = {"boundary-moved", "settings: wires crossed"};
  line.verdict = Verdict::fail;
  line.first = line.sized = line.shadowed = true;
  line.causes = 2;
  line.cpu_s = 0.25;
  line.said = "pair 12: boundary-moved x1.06; said: (3 of 3) The unit acts";
  const std::optional<NamedLine> back = named_line(text_of(line).substr(0, text_of(line).size() - 1));
  ASSERT_TRUE(back.has_value());
  EXPECT_EQ(text_of(*back), text_of(line));
  EXPECT_EQ(back->kinds, line.kinds);
  EXPECT_FALSE(named_line("pair 12").has_value());
}

TEST(Mutation, OfRandomGaugesTheTrueCauseMostlyStandsFirst) {
  const NamedStudy study = study_diagnoses(20, 16);
  std::string misses;
  for (const std::string& miss : study.misses) misses += miss + "\n";
  EXPECT_EQ(study.healthy_with_cause, 0u);
  ASSERT_GT(study.singles.failed, 7u);
  EXPECT_GE(static_cast<double>(study.singles.first), 0.75 * static_cast<double>(study.singles.failed))
      << misses;
}

}  // namespace
}  // namespace tachproof

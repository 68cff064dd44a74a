// Units that are fed otherwise in the middle of a run: judged at each voltage, and where it dips.
#include <gmock/gmock.h>

#include <cmath>
#include <map>
#include <random>
#include <set>

#include "bench/run/runner.h"
#include "core/cause/diagnosis.h"
#include "core/cause/fault_list.h"
#include "core/judge/expected_states.h"
#include "core/plan/button_proof.h"
#include "tests/bench/fault_examples.h"
#include "tests/bench/fed_run.h"

namespace tachproof {
namespace {

using test::fed_gauge;
using test::fed_play;
using test::FedPlay;
using test::told_of;
using testing::ElementsAre;
using testing::HasSubstr;

std::vector<FindingKind> fed_findings(const RunResult& result) {
  std::vector<FindingKind> kinds;
  for (const Finding& finding : result.findings) kinds.push_back(finding.kind);
  return kinds;
}

double number_of_cause(const Cause& cause, const std::string& key) {
  for (const auto& [name, value] : cause.changes.at(0).numbers)
    if (name == key) return value;
  return not_measured;
}

// At 3900 rpm, where the Drumlin lights two lamps; then the steps, and seconds to come back in.
Profile held(std::vector<Step> steps, Nanos after = 5 * ns_per_s) {
  std::vector<Step> all{Hold{2000, ns_per_s}, RampByTime{3900, ns_per_s}, Hold{3900, 2 * ns_per_s},
                        Supply{12.5, 12.5, ns_per_s}};
  all.insert(all.end(), steps.begin(), steps.end());
  all.push_back(Hold{3900, after});
  return Profile(all);
}

TEST(SupplyUnits, ASoundOnePassesTheScenarioThatShips) {
  const FedPlay play = fed_play({});
  EXPECT_EQ(play.result.verdict, Verdict::pass) << told_of(play.result);
  std::map<std::string, int> rows;
  for (const BoundaryResult& row : play.result.boundaries) {
    EXPECT_TRUE(row.verdict == Verdict::pass || !row.asked) << row.boundary << row.state;
    ++rows[row.state];
  }
  for (const char* level : {"at 12.5 V, time 2", "at 9.0 V, time 2", "at 16.0 V, time 2"})
    EXPECT_EQ(rows[level], 18) << told_of(play.result);
  ASSERT_EQ(play.result.powers.size(), 3U);
  EXPECT_DOUBLE_EQ(play.result.powers[0].lowest_v, 5);
  EXPECT_DOUBLE_EQ(play.result.powers[1].lowest_v, 6);
  EXPECT_DOUBLE_EQ(play.result.powers[2].lowest_v, 1);
  EXPECT_TRUE(std::isfinite(play.result.powers[0].boot_ms));
}

TEST(SupplyUnits, BoundariesThatMoveWithTheVoltageAreNamedWithTheirSize) {
  for (const double rpm_per_v : {3.0, -2.2}) {
    const FedPlay play = fed_play({{"supply-drift", {}, {{"rpm_per_v", rpm_per_v}}}});
    EXPECT_EQ(play.result.verdict, Verdict::fail);
    const std::vector<FindingKind> kinds = fed_findings(play.result);
    EXPECT_EQ(std::set<FindingKind>(kinds.begin(), kinds.end()), std::set{FindingKind::supply_drift})
        << told_of(play.result);
    EXPECT_THAT(told_of(play.result), HasSubstr("(at 9.0 V, time 2)"));
    const Diagnosis diagnosis = diagnose(fed_gauge(), {{play.result, play.evidence}});
    ASSERT_FALSE(diagnosis.causes.list.empty()) << diagnosis.causes.none;
    const Cause& cause = diagnosis.causes.list.front();
    EXPECT_EQ(cause.changes.at(0).kind, "supply-drift") << cause.text;
    EXPECT_TRUE(cause.whole());
    EXPECT_NEAR(number_of_cause(cause, "rpm_per_v"), rpm_per_v,
                number_of_cause(cause, "expanded_uncertainty_rpm_per_v") + 0.1);
  }
}

TEST(SupplyUnits, OneThatGoesDarkInsideWhatItMayBeFedIsNamed) {
  const FedPlay play = fed_play({{"brown-out", {}, {{"at_v", 10.8}}}});
  EXPECT_EQ(play.result.verdict, Verdict::fail);
  EXPECT_THAT(fed_findings(play.result), testing::Each(FindingKind::brown_out)) << told_of(play.result);
  const Diagnosis diagnosis = diagnose(fed_gauge(), {{play.result, play.evidence}});
  ASSERT_FALSE(diagnosis.causes.list.empty()) << diagnosis.causes.none << told_of(play.result);
  const Cause& cause = diagnosis.causes.list.front();
  EXPECT_EQ(cause.changes.at(0).kind, "brown-out") << cause.text;
  EXPECT_NEAR(number_of_cause(cause, "at_v"), 10.8, 0.3);
}

TEST(SupplyUnits, OneThatDoesNotComeBackIsNamedOnce) {
  const FedPlay play = fed_play({{"no-return", {}, {}}});
  EXPECT_EQ(play.result.verdict, Verdict::fail);
  EXPECT_THAT(fed_findings(play.result), ElementsAre(FindingKind::no_return)) << told_of(play.result);
  const Diagnosis diagnosis = diagnose(fed_gauge(), {{play.result, play.evidence}});
  ASSERT_FALSE(diagnosis.causes.list.empty()) << diagnosis.causes.none;
  EXPECT_EQ(diagnosis.causes.list.front().changes.at(0).kind, "no-return");
}

TEST(SupplyUnits, AShortDipMayBeRiddenThroughOrNot) {
  for (const double holds_ms : {20.0, 500.0}) {
    Behaviour behaviour = test::quick_unit();
    behaviour.holds_ms = holds_ms;
    const FedPlay play =
        fed_play(behaviour, {}, held({Supply{5, 5, 100 * ns_per_ms}, Supply{12.5, 12.5, 100 * ns_per_ms}}));
    ASSERT_EQ(play.result.powers.size(), 1U) << told_of(play.result);
    EXPECT_EQ(play.result.powers[0].verdict, Verdict::pass) << told_of(play.result);
    EXPECT_EQ(std::isnan(play.result.powers[0].boot_ms), holds_ms > 100) << told_of(play.result);
    EXPECT_THAT(fed_findings(play.result), ElementsAre()) << told_of(play.result);
  }
}

TEST(SupplyUnits, ADipThatIsSoonOverWithTheNextOneIsOneDip) {
  const Profile twice = held({Supply{5, 5, 100 * ns_per_ms}, Supply{10, 10, 200 * ns_per_ms},
                              Supply{6, 6, 50 * ns_per_ms}, Supply{5, 12.5, 300 * ns_per_ms}});
  const FedPlay play = fed_play({}, twice);
  ASSERT_EQ(play.result.powers.size(), 1U) << told_of(play.result);
  EXPECT_EQ(play.result.powers[0].verdict, Verdict::pass) << told_of(play.result);
  EXPECT_THAT(fed_findings(play.result), ElementsAre()) << told_of(play.result);
}

TEST(SupplyUnits, OneThatWakesTooLateAfterADipFailsForThatAlone) {
  const FedPlay play = fed_play({{"slow-boot", {}, {{"by_ms", 2500}}}},
                                held({Supply{5, 5, 100 * ns_per_ms}, Supply{12.5, 12.5, 100 * ns_per_ms}}));
  EXPECT_THAT(fed_findings(play.result), ElementsAre(FindingKind::slow_boot)) << told_of(play.result);
}

// A dip leaves it free to keep its peak or to lose it: both are right, and nothing else is.
TEST(SupplyUnits, AfterADipEitherPeakIsRight) {
  Gauge gauge = fed_gauge();
  std::erase(gauge.power_up->keeps, "high");
  Ask ask;
  ask.wants = Ask::Wants::peak;
  ask.within = 10;
  const Profile profile(std::vector<Step>{Hold{5200, ns_per_s}, Hold{3900, 2 * ns_per_s},
                                          Supply{12.5, 12.5, ns_per_s}, Supply{5, 5, 100 * ns_per_ms},
                                          Supply{12.5, 12.5, 100 * ns_per_ms}, Hold{3900, 5 * ns_per_s},
                                          RampByTime{4100, ns_per_s}, Hold{4100, ns_per_s}});
  StateJudge judge(gauge, {});
  tell(judge, profile);
  const std::vector<PeakSpan> peaks = judge.peaks(profile.duration());
  for (const auto& [answer, verdict] : std::map<std::string, Verdict>{
           {"5200", Verdict::pass}, {"4100", Verdict::pass}, {"4600", Verdict::fail}, {"0", Verdict::fail}})
    EXPECT_EQ(judge_answer(ask, 0, peaks, answer).verdict, verdict) << answer;
  EXPECT_EQ(judge_answer(ask, 0, peaks, "0").expected, "5200 within 10, or 4100 within 10");
}

// A ramp that is played in steps may be over sooner than it was to be.
TEST(SupplyUnits, ARampThatEndsEarlyMayTurnTheUnitOffEarly) {
  const Profile told = held({Supply{12.5, 8.6, ns_per_s}, Supply{12.5, 12.5, 100 * ns_per_ms}});
  const Profile played = held({Supply{12.5, 9.6, 750 * ns_per_ms}, Supply{8.6, 8.6, 250 * ns_per_ms},
                               Supply{12.5, 12.5, 100 * ns_per_ms}});
  for (const Nanos early : {Nanos{0}, 200 * ns_per_ms}) {
    Behaviour behaviour = test::quick_unit();
    behaviour.lowest_v = 8.9;
    behaviour.holds_ms = 0;
    JudgeSetup setup;
    setup.bench.source.switch_from = -early;
    StateJudge judge(fed_gauge(), setup);
    tell(judge, told);
    judge.lamps(test::fed_lamps(behaviour, played));
    const RunResult result = judge.finish(told.duration());
    EXPECT_EQ(result.verdict == Verdict::fail, early == 0) << early << told_of(result);
  }
}

// A lamp that is not asked for is wrong at any voltage.
TEST(SupplyUnits, OutsideWhatItMayBeFedItMayBeDarkButNotWrong) {
  const FedPlay play = fed_play({{"stuck-on", {{"lamp", "top"}, {"colour", "magenta"}}, {}}},
                                held({Supply{5, 5, 3 * ns_per_s}, Supply{12.5, 12.5, 100 * ns_per_ms}}));
  EXPECT_EQ(play.result.verdict, Verdict::fail);
  const auto in_dip = [](const Finding& f) { return f.at >= 5 * ns_per_s && f.at < 8 * ns_per_s; };
  EXPECT_TRUE(std::any_of(play.result.findings.begin(), play.result.findings.end(), in_dip))
      << told_of(play.result);
}

TEST(SupplyUnits, ARunThatEndsOutsideSaysNothingOfWhatItShowsThere) {
  const FedPlay play = fed_play({}, held({Supply{5, 5, 100 * ns_per_ms}}));
  EXPECT_THAT(fed_findings(play.result), ElementsAre()) << told_of(play.result);
}

TEST(SupplyUnits, WithoutAWordOfWhatTheUnitMayBeFedNothingIsDecided) {
  Gauge silent = fed_gauge();
  silent.supply.reset();
  const FedPlay play = fed_play(test::quick_unit(), {}, held({Supply{10, 10, ns_per_s}}), silent);
  EXPECT_EQ(play.result.verdict, Verdict::undecided);
  EXPECT_THAT(told_of(play.result), HasSubstr("does not say what the unit may be fed"));
}

// What was proven at one voltage is no proof at another.
TEST(SupplyUnits, ABoundaryThatIsCrossedTooFastAtOneVoltageIsOpenThere) {
  std::vector<Step> steps{Hold{3380, ns_per_s}, Supply{12, 12, 100 * ns_per_ms}};
  const auto cross = [&](double rate) {
    for (int i = 0; i < 2; ++i)
      steps.insert(steps.end(), {RampByRate{4220, rate}, Hold{4220, 500 * ns_per_ms}, RampByRate{3380, rate},
                                 Hold{3380, 500 * ns_per_ms}});
  };
  cross(50);
  cross(200);
  steps.push_back(Supply{10, 10, 100 * ns_per_ms});
  cross(3000);
  const FedPlay play = fed_play({}, Profile(steps));
  EXPECT_EQ(play.result.verdict, Verdict::undecided) << told_of(play.result);
  for (const BoundaryResult& row : play.result.boundaries)
    EXPECT_EQ(row.verdict, row.state == "at 12.0 V" ? Verdict::pass : Verdict::undecided)
        << row.boundary << " " << row.state;
}

// However it scatters, is slow to boot or quick to go dark: a unit that does as it is set is never failed.
TEST(SupplyUnits, AHealthyOneNeverFailsWhateverItIsFed) {
  for (std::uint64_t seed = 1; seed <= 12; ++seed) {
    std::mt19937_64 random(seed);
    const auto between = [&](double low, double high) {
      return std::uniform_real_distribution<double>(low, high)(random);
    };
    std::vector<Step> steps;
    double volts = 12.5;
    for (int i = 0; i < 8; ++i) {
      const double to = between(0, 1) < 0.5 ? between(9, 16) : between(1, 20);
      const Nanos lasts = static_cast<Nanos>(between(20, 3000)) * ns_per_ms;
      steps.push_back(between(0, 1) < 0.5 ? Supply{volts, to, lasts} : Supply{to, to, lasts});
      if (between(0, 1) < 0.5) steps.push_back(RampByTime{std::floor(between(3000, 8200)), ns_per_s});
      volts = to;
    }
    steps.push_back(Supply{12.5, 12.5, 4 * ns_per_s});
    Behaviour behaviour = test::quick_unit();
    behaviour.holds_ms = between(0, 200);
    behaviour.lowest_v = between(3, 9);
    const FedPlay play = fed_play(behaviour, {}, held(steps), fed_gauge(), seed);
    EXPECT_NE(play.result.verdict, Verdict::fail) << "seed " << seed << "\n" << told_of(play.result);
  }
}

// The profile that a plan adds for buttons, power and voltage, from the gauge alone.
TEST(SupplyUnits, WhatAPlanAddsShowsEveryFaultOfTheVoltage) {
  std::vector<ProofPart> parts = proof_parts(fed_gauge(), proof_shape(fed_gauge()));
  for (ProofPart& part : button_parts(fed_gauge(), proof_shape(fed_gauge())))
    parts.push_back(std::move(part));
  const Profile plan(steps_of(parts));
  const FedPlay sound = fed_play({}, plan);
  EXPECT_EQ(sound.result.verdict, Verdict::pass) << told_of(sound.result);
  for (const FaultSetting& fault : test::fed_fault_examples()) {
    const FedPlay play = fed_play({fault}, plan);
    EXPECT_EQ(play.result.verdict, Verdict::fail) << fault.kind << "\n" << told_of(play.result);
  }
  RecordProperty("seconds", static_cast<int>(to_seconds(plan.duration())));
}

TEST(SupplyUnits, ThreeKindsOfFaultsAreListedWhereTheGaugeSaysWhatTheUnitMayBeFed) {
  const auto kinds = [](const Gauge& gauge) {
    std::multiset<std::string> all;
    for (const ListedFault& listed : fault_list(gauge).faults)
      if (listed.fault.kind >= Fault::Kind::supply_drift) all.insert(std::string(word(listed.fault.kind)));
    return all;
  };
  EXPECT_THAT(kinds(fed_gauge()), ElementsAre("brown-out", "no-return", "supply-drift", "supply-drift"));
  Gauge silent = fed_gauge();
  silent.supply.reset();
  EXPECT_THAT(kinds(silent), ElementsAre());
}

}  // namespace
}  // namespace tachproof

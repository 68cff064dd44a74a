// E_n against published values; two runs side by side; the cue that was shown.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <fstream>

#include "core/base/en_score.h"
#include "core/compare/comparison.h"
#include "core/compare/cue_reading.h"
#include "core/judge/expectation.h"
#include "tests/core/gauges.h"
#include "tests/core/statistics.h"

namespace tachproof {
namespace {

using ::testing::Contains;

TEST(EnScore, IsThatOfThePublishedExample) {
  // NIST Dataplot, "ISO 13528 EN SCORE": GEAR.DAT, X = 1, U_ref = 2 sd of all
  // 100, U_lab = 2 sd of the batch; batch 1. The first four as printed there,
  // the others computed from the same data.
  std::ifstream file(TACHPROOF_TEST_DATA "/nist_gear.csv");
  std::string header;
  std::getline(file, header);
  std::vector<double> all, batch;
  double diameter = 0, number = 0;
  for (char comma = 0; file >> diameter >> comma >> number;) {
    all.push_back(diameter);
    if (number == 1) batch.push_back(diameter);
  }
  ASSERT_EQ(all.size(), 100u);
  const double u_ref = 2 * test::sd(all), u_lab = 2 * test::sd(batch);
  const std::vector<double> printed = {0.393, -0.262, -0.131, 0.000};
  for (std::size_t i = 0; i < printed.size(); ++i)
    EXPECT_NEAR(en_score(batch[i], 1, u_lab, u_ref), printed[i], 0.0005);
  const std::vector<double> rest = {-0.523812, -0.458335, 0.130953, -0.065476, -0.392859, 0};
  for (std::size_t i = 0; i < rest.size(); ++i)
    EXPECT_NEAR(en_score(batch[i + 4], 1, u_lab, u_ref), rest[i], 1e-6);
}

TEST(EnScore, IsNothingWithoutUncertaintyOrNumbers) {
  EXPECT_TRUE(std::isnan(en_score(1, 1, 0, 0)));
  EXPECT_TRUE(std::isnan(en_score(1, not_measured, 1, 1)));
  EXPECT_TRUE(std::isnan(en_score(1, 1, not_measured, 1)));
}

TEST(EnScore, AmongManyTheLimitIsWider) {
  EXPECT_EQ(en_limit_among(1), 1);
  // Two-sided quantiles of 0.01/10 and 0.05: 3.290527 and 1.959964 of the normal
  // distribution, 4.586894 and 2.228139 of Student's t with 10 degrees of
  // freedom (printed tables of both).
  EXPECT_NEAR(en_limit_among(10), 3.290527 / 1.959964, 1e-5);
  EXPECT_NEAR(en_limit_among(10, 10), 4.586894 / 2.228139, 1e-5);
  EXPECT_GT(en_limit_among(50), en_limit_among(10));
}

// A run of `gauge` by a unit that is `by_rpm` off everywhere.
ComparedRun run_of(const Gauge& gauge, double by_rpm = 0, double u_rpm = 0.5) {
  ComparedRun run{gauge, {}, {}, 1e-6, 10, ""};
  run.result.complete = true;
  run.result.verdict = Verdict::pass;
  for (std::size_t b = 1; b < gauge.windows.size(); ++b)
    for (const Direction d : {Direction::rising, Direction::falling}) {
      BoundaryResult row;
      row.boundary = gauge.windows[b].name;
      row.direction = d;
      row.nominal_rpm = d == Direction::rising ? gauge.rising_rpm(b) : gauge.falling_rpm(b);
      row.threshold_rpm = row.nominal_rpm + by_rpm;
      row.expanded_uncertainty_rpm = u_rpm;
      row.response_ms = 20;
      row.response_uncertainty_ms = 2;
      row.verdict = Verdict::pass;
      run.result.boundaries.push_back(row);
    }
  for (const Window& window : gauge.windows) run.shown.push_back(window.cue);
  run.result.blinks = {{"top", "left blue", gauge.blink->hz, gauge.blink->duty, 20, Verdict::pass}};
  return run;
}

const ComparisonItem& item(const Comparison& c, const std::string& what, const std::string& boundary,
                           std::optional<Direction> direction = std::nullopt) {
  for (const ComparisonItem& i : c.items)
    if (i.what == what && i.boundary == boundary && i.direction == direction) return i;
  throw std::runtime_error("no " + what + " of " + boundary);
}

const Gauge gauge = test::small_gauge();

TEST(Comparison, OfARunWithItselfIsAsIntended) {
  const Comparison c = compare(run_of(gauge), run_of(gauge));
  EXPECT_EQ(c.verdict, Verdict::pass);
  EXPECT_EQ(c.items.size(), 2u * 5 + 3 + 2);  // two boundaries, three cues, one blink
  for (const ComparisonItem& i : c.items) EXPECT_EQ(i.word, ChangeWord::as_intended) << i.what << i.remark;
}

TEST(Comparison, AMoveThatTheSettingsWantIsAsIntended) {
  Gauge moved = gauge;
  moved.windows[1].from_rpm += 60;
  const Comparison c = compare(run_of(gauge), run_of(moved));
  EXPECT_EQ(c.verdict, Verdict::pass);
  const ComparisonItem& rising = item(c, "threshold", "near", Direction::rising);
  EXPECT_EQ(rising.expected_change, 60);
  EXPECT_NEAR(rising.observed_change, 60, 1e-9);
  EXPECT_NEAR(rising.uncertainty, std::hypot(0.5, 0.5), 1e-12);
  EXPECT_NEAR(rising.e_n, 0, 1e-9);
}

TEST(Comparison, AMoveThatDidNotHappenIsMissing) {
  Gauge moved = gauge;
  moved.windows[1].from_rpm += 60;
  ComparedRun stayed = run_of(moved);
  for (BoundaryResult& row : stayed.result.boundaries)
    if (row.boundary == "near") row.threshold_rpm -= 60;
  const Comparison c = compare(run_of(gauge), stayed);
  EXPECT_EQ(c.verdict, Verdict::fail);
  EXPECT_EQ(item(c, "threshold", "near", Direction::rising).word, ChangeWord::missing);
  EXPECT_EQ(item(c, "threshold", "near", Direction::falling).word, ChangeWord::missing);
  EXPECT_EQ(item(c, "threshold", "top", Direction::rising).word, ChangeWord::as_intended);
  for (BoundaryResult& row : stayed.result.boundaries)
    if (row.boundary == "near") row.threshold_rpm += 30;
  EXPECT_EQ(item(compare(run_of(gauge), stayed), "threshold", "near", Direction::rising).word,
            ChangeWord::unintended)
      << "half the way is neither none nor all of it";
}

TEST(Comparison, AMoveThatNobodyWantedIsUnintended) {
  const Comparison c = compare(run_of(gauge), run_of(gauge, 5));
  EXPECT_EQ(c.verdict, Verdict::fail);
  EXPECT_EQ(item(c, "threshold", "near", Direction::rising).word, ChangeWord::unintended);
  EXPECT_EQ(item(c, "deadband", "near").word, ChangeWord::as_intended);
}

TEST(Comparison, ALittleBeyondOneAmongManyCannotBeTold) {
  const Comparison c = compare(run_of(gauge, 0, 1.2), run_of(gauge, 1.92, 1.2));  // E_n 1.13
  EXPECT_EQ(c.verdict, Verdict::undecided);
  EXPECT_EQ(item(c, "threshold", "near", Direction::rising).word, ChangeWord::cannot_tell);
  // So much less, and it cannot matter: 0.8 + 0.7 rpm are within the tolerance's 3.
  EXPECT_EQ(compare(run_of(gauge), run_of(gauge, 0.8)).verdict, Verdict::pass);
}

TEST(Comparison, TooMuchUncertaintyCannotTell) {
  EXPECT_EQ(compare(run_of(gauge), run_of(gauge, 0, 3)).verdict, Verdict::undecided);  // tolerance: 3 rpm
  Gauge wider = gauge;
  wider.deadband.rpm += 1;
  const Comparison c = compare(run_of(gauge), run_of(wider));
  EXPECT_EQ(item(c, "deadband", "near").word, ChangeWord::cannot_tell);  // 1 rpm beside U 1.4
  EXPECT_EQ(
      item(c, "deadband", "near").remark,
      "the change is smaller than its U, so it is not sure that anything changed; measure both again with "
      "survey --within 0.1");
  EXPECT_EQ(c.verdict, Verdict::undecided);
}

TEST(Comparison, WhatWasNotMeasuredCannotBeTold) {
  ComparedRun after = run_of(gauge);
  after.result.boundaries.clear();
  after.shown.assign(3, std::nullopt);
  after.result.blinks.clear();
  const Comparison c = compare(run_of(gauge), after);
  EXPECT_EQ(c.verdict, Verdict::undecided);
  for (const ComparisonItem& i : c.items) EXPECT_EQ(i.word, ChangeWord::cannot_tell) << i.what;
  EXPECT_EQ(item(c, "threshold", "near", Direction::rising).remark, "not measured in the new run");
}

TEST(Comparison, AnIncompleteRunIsNeverAPass) {
  for (const bool old_one : {true, false}) {
    ComparedRun before = run_of(gauge), after = run_of(gauge);
    (old_one ? before : after).result.complete = false;
    const Comparison c = compare(before, after);
    EXPECT_EQ(c.verdict, Verdict::undecided);
    EXPECT_THAT(c.notes, Contains(old_one ? "The old run is not complete." : "The new run is not complete."));
  }
}

TEST(Comparison, TellsDeadbandResponseAndBlink) {
  Gauge other = gauge;
  other.deadband.rpm += 12;
  other.blink->hz = 4;
  ComparedRun after = run_of(other);
  Comparison c = compare(run_of(gauge), after);
  EXPECT_EQ(c.verdict, Verdict::pass);
  EXPECT_EQ(item(c, "deadband", "near").observed_change, 12);
  EXPECT_EQ(item(c, "blink rate, left blue", "top").expected_change, -1);
  after.result.blinks[0].hz = 5;
  for (BoundaryResult& row : after.result.boundaries) row.response_ms = 45;
  c = compare(run_of(gauge), after);
  EXPECT_EQ(item(c, "blink rate, left blue", "top").word, ChangeWord::missing);
  EXPECT_EQ(item(c, "response", "near", Direction::rising).word, ChangeWord::unintended);
}

TEST(Comparison, TellsCues) {
  Gauge other = gauge;
  other.windows[1].cue = {gauge.channel("right", "magenta"), 0};
  EXPECT_EQ(item(compare(run_of(gauge), run_of(other)), "cue", "near").word, ChangeWord::as_intended);
  ComparedRun after = run_of(other);
  after.shown[1] = gauge.windows[1].cue;
  EXPECT_EQ(item(compare(run_of(gauge), after), "cue", "near").word, ChangeWord::missing);
  after.shown[1] = Cue{gauge.all_channels(), 0};
  EXPECT_EQ(item(compare(run_of(gauge), after), "cue", "near").word, ChangeWord::unintended);
  after = run_of(gauge);
  after.shown[2] = Cue{gauge.windows[2].cue.steady | gauge.windows[2].cue.blinking, 0};
  EXPECT_EQ(item(compare(run_of(gauge), after), "cue", "top").word, ChangeWord::unintended)
      << "no longer blinks";
}

// The unit keeps its old boundary, so what it shows above that reaches into the
// window that should go further now: its cue is nobody's fault.
TEST(Comparison, ANeighbourThatReachesInSaysNothingOfTheCue) {
  Gauge moved = gauge;
  moved.windows[1].from_rpm += 60;
  ComparedRun after = run_of(moved, -60);
  after.shown[0] = moved.windows[1].cue;
  const Comparison c = compare(run_of(gauge), after);
  EXPECT_EQ(c.verdict, Verdict::fail);
  EXPECT_EQ(item(c, "threshold", "near", Direction::rising).word, ChangeWord::missing);
  EXPECT_EQ(item(c, "cue", "quiet").word, ChangeWord::cannot_tell);
  // But not where every boundary is in its place.
  ComparedRun in_place = run_of(moved);
  in_place.shown[0] = moved.windows[1].cue;
  EXPECT_EQ(item(compare(run_of(gauge), in_place), "cue", "quiet").word, ChangeWord::unintended);
}

TEST(Comparison, ALampWithoutAWireCannotBeTold) {
  Gauge other = gauge;
  other.windows[1].cue = {gauge.channel("right", "magenta"), 0};
  ComparedRun after = run_of(other);
  after.result.not_judged = {"right magenta"};
  EXPECT_EQ(item(compare(run_of(gauge), after), "cue", "near").word, ChangeWord::cannot_tell);
}

TEST(Comparison, AFindingThatTheOldRunHadNotIsUnintended) {
  ComparedRun before = run_of(gauge), after = run_of(gauge);
  const Finding flicker{FindingKind::wrong_cue, ns_per_s, "near", "left", "left was dark for 30.0 ms"};
  after.result.findings = {flicker, flicker};
  Comparison c = compare(before, after);
  EXPECT_EQ(c.verdict, Verdict::fail);
  EXPECT_EQ(item(c, "finding: wrong-cue", "near").remark, "left was dark for 30.0 ms");
  before.result.findings = {flicker};
  EXPECT_EQ(compare(before, after).verdict, Verdict::pass) << "nothing changed";
}

// A threshold at the edge of its tolerance is found in one run and not in the
// next, and need not have moved for that.
TEST(Comparison, AFindingOfANumberThatDidNotMoveIsNoChange) {
  ComparedRun after = run_of(gauge, 0.1);
  after.result.findings = {{FindingKind::late, ns_per_s, "near", "", "3.1 rpm from nominal"}};
  EXPECT_EQ(compare(run_of(gauge), after).verdict, Verdict::pass);
  after.result.boundaries[0].expanded_uncertainty_rpm = not_measured;
  EXPECT_EQ(compare(run_of(gauge), after).verdict, Verdict::fail) << "no number tells whether it moved";
}

TEST(Comparison, ABoundaryThatIsNewOrGoneIsTold) {
  Gauge more = gauge;
  more.windows.push_back({"last", 7000, {}});
  Comparison c = compare(run_of(gauge), run_of(more));
  EXPECT_EQ(c.verdict, Verdict::pass);
  EXPECT_EQ(item(c, "threshold", "last", Direction::rising).word, ChangeWord::as_intended);
  ComparedRun without = run_of(more);
  without.result.boundaries.resize(4);
  EXPECT_EQ(compare(run_of(gauge), without).verdict, Verdict::undecided);
  without.result.findings = {{FindingKind::missing_transition, 0, "last", "", "no change was seen"}};
  EXPECT_EQ(item(compare(run_of(gauge), without), "threshold", "last", Direction::rising).word,
            ChangeWord::missing);

  EXPECT_EQ(compare(run_of(more), run_of(gauge)).verdict, Verdict::pass);
  ComparedRun still_there = run_of(gauge);
  still_there.result.findings = {{FindingKind::wrong_cue, 0, "top", "left", "showed something else"}};
  c = compare(run_of(more), still_there);
  EXPECT_EQ(item(c, "threshold", "last").word, ChangeWord::missing);
}

RC_GTEST_PROP(Comparison, NeverPassesAMoveBeyondTheLimit, ()) {
  const double by = *rc::gen::inRange(-4000, 4001) / 100.0;
  const Comparison c = compare(run_of(gauge), run_of(gauge, by));
  const double u = std::hypot(0.5, 0.5), e_n = std::fabs(by) / u;
  const bool cannot_matter = e_n <= c.en_limit && std::fabs(by) + u <= gauge.tolerance.rpm;
  RC_ASSERT((c.verdict == Verdict::pass) == (e_n <= 1 || cannot_matter));
  RC_ASSERT((c.verdict == Verdict::fail) == (e_n > c.en_limit));
}

TEST(CueReading, ReadsWhatASoundUnitShows) {
  const std::vector<Reach> reaches = {
      {0, 0, 0}, {ns_per_s, 0, 1}, {2 * ns_per_s, 1, 1}, {3 * ns_per_s, 1, 2}, {4 * ns_per_s, 2, 2}};
  const Channels white = gauge.windows[1].cue.steady, magenta = gauge.windows[2].cue.steady,
                 blue = gauge.windows[2].cue.blinking;
  std::vector<LampEvent> events = {{0, 0}, {1500 * ns_per_ms, white}};
  for (Nanos at = 3500 * ns_per_ms; at < 6 * ns_per_s; at += 200 * ns_per_ms) {
    events.push_back({at, magenta | blue});
    events.push_back({at + 100 * ns_per_ms, magenta});
  }
  const auto shown = shown_cues(gauge, reaches, events, 6 * ns_per_s);
  for (std::size_t w = 0; w < 3; ++w) EXPECT_EQ(shown[w], gauge.windows[w].cue) << w;
  EXPECT_EQ(shown_cues(gauge, reaches, events, 4'200 * ns_per_ms)[2], std::nullopt)
      << "a fifth of a second shows no blink of 5 Hz";
  EXPECT_EQ(shown_cues(gauge, reaches, {}, 6 * ns_per_s)[0], std::nullopt) << "nothing was seen";
}

TEST(CueReading, ALateBoundaryMakesNoBlink) {
  const Channels white = gauge.windows[1].cue.steady;
  std::vector<Reach> reaches;
  std::vector<LampEvent> events = {{0, 0}};
  for (int visit = 0; visit < 5; ++visit) {
    const Nanos at = visit * ns_per_s;
    reaches.push_back({at, 0, 0});
    reaches.push_back({at + 400 * ns_per_ms, 1, 1});
    events.push_back({at + 500 * ns_per_ms, white});
    events.push_back({at + 990 * ns_per_ms, 0});
  }
  const auto shown = shown_cues(gauge, reaches, events, 5 * ns_per_s);
  EXPECT_EQ(shown[0], Cue{});
  EXPECT_EQ(shown[1], gauge.windows[1].cue);
}

}  // namespace
}  // namespace tachproof

// Two runs of the same train, compared transition by transition.
#include "core/compare/paired_changes.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "core/compare/comparison.h"
#include "tests/core/gauges.h"

namespace tachproof {
namespace {

using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::Not;

// A unit that looks at its reading now and then, its updates running free, and
// its boundaries where they are set or moved from there.
struct PlayedUnit {
  double update_ms = 10;
  double response_ms = 20;
  double moved_rpm = 0;  // the boundary "b3"
  std::vector<double> rates{10, 10, 60, 0, 0, 0};
  unsigned seed = 1;
  bool ticks = false;  // its updates are those of a clock, which has one phase for the whole run
};

Gauge ladder() {
  Gauge g;
  g.name = "ladder";
  g.pulses_per_rev = 2;
  for (int i = 0; i < 6; ++i) g.lamps.push_back({"lamp" + std::to_string(i), {"cyan"}});
  g.windows.push_back({"b0", 0, {}});
  for (std::size_t b = 1; b <= 6; ++b)
    g.windows.push_back(
        {"b" + std::to_string(b), 2000.0 + 300 * static_cast<double>(b), {Channels{1} << (b - 1), 0}});
  g.deadband = {8, Sits::below};
  g.tolerance.rpm = 3;
  g.tolerance.response_to = 120 * ns_per_ms;
  return g;
}

ComparedRun played(const Gauge& gauge, const PlayedUnit& unit) {
  ComparedRun run{gauge, {}, {}, 1e-6, 10, "the same"};
  run.result.complete = true;
  run.result.verdict = Verdict::pass;
  for (const Window& window : gauge.windows) run.shown.push_back(window.cue);
  std::mt19937 random(unit.seed);
  std::uniform_real_distribution<double> wait_ms(0, unit.update_ms), rounding_rpm(-0.5, 0.5);
  Nanos nominal = ns_per_s;
  const double phase_s = unit.ticks ? wait_ms(random) / 1e3 : 0, period_s = unit.update_ms / 1e3;
  for (const double rate : unit.rates)
    for (std::size_t b = 1; b < gauge.windows.size(); ++b)
      for (const Direction d : {Direction::rising, Direction::falling}) {
        TransitionResult row;
        row.boundary = gauge.windows[b].name;
        row.direction = d;
        row.nominal = nominal += ns_per_s;
        // The train's, whatever the unit's seed.
        const auto place = static_cast<Nanos>(run.result.transitions.size());
        if (unit.ticks) row.nominal = nominal += place * place % 11 * 7'300'000;
        row.seen = true;
        row.step = rate == 0;
        row.verdict = Verdict::pass;
        row.rate_rpm_per_s = d == Direction::rising ? rate : -rate;
        const double off_rpm = rounding_rpm(random) + (row.boundary == "b3" ? unit.moved_rpm : 0);
        const double off_s = rate == 0 ? 0 : off_rpm / row.rate_rpm_per_s;
        const double asked_s = to_seconds(nominal) + off_s - phase_s;
        const double wait_s =
            unit.ticks ? std::ceil(asked_s / period_s) * period_s - asked_s : wait_ms(random) / 1e3;
        row.at = nominal + from_seconds(unit.response_ms / 1e3 + wait_s + off_s);
        run.result.transitions.push_back(row);
      }
  return run;
}

Comparison of_units(const PlayedUnit& one, PlayedUnit other) {
  other.seed = one.seed + 1000;
  return compare(played(ladder(), one), played(ladder(), other));
}

const ComparisonItem& item(const Comparison& c, const std::string& what, const std::string& boundary,
                           Direction direction = Direction::rising) {
  for (const ComparisonItem& i : c.items)
    if (i.what == what && i.boundary == boundary && (!i.direction || i.direction == direction)) return i;
  throw std::runtime_error("no " + what + " of " + boundary);
}

int words(const Comparison& c, ChangeWord word) {
  return static_cast<int>(
      std::count_if(c.items.begin(), c.items.end(), [&](const ComparisonItem& i) { return i.word == word; }));
}

TEST(PairedChanges, AreTheLineOverTheReciprocalOfTheRate) {
  // Threshold up by 2 rpm, response longer by 5 ms, no scatter beside a microsecond.
  std::vector<LagPair> pairs;
  double wobble = 1e-6;
  for (const double rate : {10.0, 20.0, 40.0, 80.0})
    for (const Direction d : {Direction::rising, Direction::falling}) {
      const double v = d == Direction::rising ? rate : -rate;
      pairs.push_back({1, d, v, 2 / v + 0.005 + (wobble = -wobble)});
    }
  const PairedChanges changes = paired_changes(pairs, 1, 1e-7);
  for (const std::size_t i : {2u, 3u}) {
    EXPECT_NEAR(changes.changes[i].threshold.value, 2, 1e-3);
    EXPECT_NEAR(changes.changes[i].response.value, 5, 0.1);
    EXPECT_TRUE(changes.changes[i].told_apart);
    EXPECT_EQ(changes.changes[i].pairs, 4);
  }
}

TEST(PairedChanges, NothingIsStatedWhereNoScatterIsSeen) {
  const PairedChanges changes =
      paired_changes({{1, Direction::rising, 10, 0.001}, {1, Direction::rising, 50, 0}}, 1, 0);
  EXPECT_FALSE(changes.changes[2].threshold.is_there());
  EXPECT_FALSE(changes.changes[2].response.is_there());
}

TEST(PairedChanges, StatedUncertaintiesHoldTheTruthForSlowUpdatesToo) {
  for (const auto& [update_ms, ticks] :
       {std::pair(10.0, false), std::pair(50.0, false), std::pair(10.0, true), std::pair(50.0, true)}) {
    int inside = 0, all = 0;
    for (unsigned seed = 0; seed < 60; ++seed) {
      PlayedUnit one, other;
      one.update_ms = other.update_ms = update_ms;
      one.ticks = other.ticks = ticks;
      one.seed = seed, other.seed = seed + 5000;
      other.moved_rpm = 4;
      std::vector<PairedName> names;
      for (std::size_t b = 1; b <= 6; ++b)
        names.push_back({b, "b" + std::to_string(b), "b" + std::to_string(b)});
      const auto pairs = lag_pairs(played(ladder(), one).result, played(ladder(), other).result, names);
      const PairedChanges changes = paired_changes(
          pairs, 6, 1e-6, ticks ? UpdatesOfRuns{{update_ms / 1e3, update_ms / 1e3}, true} : UpdatesOfRuns{});
      for (std::size_t i = 2; i < changes.changes.size(); ++i) {
        const Measured& t = changes.changes[i].threshold;
        const Measured& r = changes.changes[i].response;
        inside += std::abs(t.value - (i / 2 == 3 ? 4 : 0)) <= t.expanded;
        inside += std::abs(r.value) <= r.expanded;
        all += 2;
      }
    }
    EXPECT_GE(inside, 0.93 * all) << update_ms << " ms, of " << all;
    RecordProperty((ticks ? "ticks_" : "any_") + std::to_string(static_cast<int>(update_ms)), inside);
  }
}

// Updates that come at the same phase of every crossing: all pairs alike, no scatter.
TEST(PairedComparison, UpdatesInStepWithTheTrainAreNoChangeOfTheResponse) {
  ComparedRun one = played(ladder(), {}), other = one;
  for (TransitionResult& row : other.result.transitions) row.at += 6 * ns_per_ms;
  EXPECT_NE(compare(one, other).verdict, Verdict::fail);
  for (TransitionResult& row : other.result.transitions) row.at += 40 * ns_per_ms;
  EXPECT_EQ(compare(one, other).verdict, Verdict::fail);
}

// A run may lack the row of a demand that it could not read.
TEST(PairedComparison, ADemandThatOneRunHasNoRowOfIsLeftOut) {
  const ComparedRun one = played(ladder(), {});
  ComparedRun other = one;
  other.result.transitions.erase(other.result.transitions.begin());
  EXPECT_EQ(compare(one, other).verdict, Verdict::pass);
}

TEST(PairedComparison, OneUnitTwiceIsAsIntendedThoughItUpdatesSlowly) {
  for (const double update_ms : {10.0, 50.0}) {
    int passes = 0, fails = 0;
    for (unsigned seed = 0; seed < 40; ++seed) {
      PlayedUnit unit;
      unit.update_ms = update_ms;
      unit.seed = seed;
      const Comparison c = of_units(unit, unit);
      passes += c.verdict == Verdict::pass;
      fails += c.verdict == Verdict::fail;
    }
    EXPECT_LE(fails, 1) << update_ms;  // en_limit: one in a hundred
    EXPECT_GE(passes, update_ms > 20 ? 24 : 38) << update_ms;
  }
}

// A clock of 50 ms: all waits of one run come from one phase, so that all pairs may differ alike.
TEST(PairedComparison, OneUnitWithASlowClockIsAsIntended) {
  for (const std::vector<double>& rates :
       {std::vector<double>{10, 10, 60, 0, 0, 0}, std::vector<double>{40}, std::vector<double>{60, 200, 0}}) {
    int passes = 0, fails = 0;
    for (unsigned seed = 0; seed < 30; ++seed) {
      PlayedUnit unit;
      unit.update_ms = 50;
      unit.ticks = true;
      unit.rates = rates;
      unit.seed = seed;
      const Comparison c = of_units(unit, unit);
      passes += c.verdict == Verdict::pass;
      fails += c.verdict == Verdict::fail;
    }
    EXPECT_EQ(fails, 0) << rates.front();
    EXPECT_GE(passes, 26) << rates.front();
  }
}

// Half of what is allowed would be 35 ms.
TEST(PairedComparison, AResponseNeedNotBeKnownBetterThanTheUnitsOwnClock) {
  int passes = 0;
  for (unsigned seed = 0; seed < 20; ++seed) {
    PlayedUnit unit, again;
    unit.update_ms = again.update_ms = 50;
    unit.ticks = again.ticks = true;
    unit.seed = seed, again.seed = seed + 1000;
    Gauge narrow = ladder();
    narrow.tolerance.response_to = 70 * ns_per_ms;
    passes += compare(played(narrow, unit), played(narrow, again)).verdict == Verdict::pass;
  }
  EXPECT_GE(passes, 18);
}

TEST(PairedComparison, AClockThatIsSlowerThanAnyAllowedResponseExcusesNothing) {
  Gauge quick = ladder();
  quick.tolerance.response_to = 40 * ns_per_ms;
  for (unsigned seed = 0; seed < 10; ++seed) {
    PlayedUnit unit, slower;
    unit.update_ms = slower.update_ms = 50;
    unit.ticks = slower.ticks = true;
    unit.seed = seed, slower.seed = seed + 1000;
    slower.response_ms += 50;
    EXPECT_NE(compare(played(quick, unit), played(quick, slower)).verdict, Verdict::pass) << seed;
  }
}

TEST(PairedComparison, MoreThanASlowClockExplainsIsNeverAsIntended) {
  PlayedUnit one;
  one.update_ms = 50;
  one.ticks = true;
  int found = 0, as_intended = 0;
  for (unsigned seed = 0; seed < 30; ++seed) {
    one.seed = seed;
    PlayedUnit moved = one;
    moved.moved_rpm = 4;  // 3 rpm are allowed; at 10 rpm/s the clock makes 0.5
    const ChangeWord word = item(of_units(one, moved), "threshold", "b3").word;
    as_intended += word == ChangeWord::as_intended;
    found += word == ChangeWord::unintended;
  }
  EXPECT_EQ(as_intended, 0);
  EXPECT_GE(found, 28);
  for (const double by_ms : {60.0, 80.0}) {
    int passes = 0;
    for (unsigned seed = 0; seed < 30; ++seed) {
      one.seed = seed;
      PlayedUnit slower = one;
      slower.response_ms += by_ms;
      passes += of_units(one, slower).verdict == Verdict::pass;
    }
    EXPECT_EQ(passes, 0) << by_ms;
  }
}

TEST(PairedComparison, SaysWhatASlowClockHides) {
  PlayedUnit one;
  one.update_ms = 50;
  one.ticks = true;
  one.rates = {60, 200, 0};
  const Comparison c = of_units(one, one);
  EXPECT_EQ(c.verdict, Verdict::pass);
  EXPECT_THAT(c.notes, Contains(HasSubstr("The unit renews its lamps only every 50.0 ms.")));
  one.update_ms = 10;
  EXPECT_THAT(of_units(one, one).notes, Not(Contains(HasSubstr("renews"))));
  PlayedUnit other = one;
  other.update_ms = 50;
  const Comparison changed = of_units(one, other);
  EXPECT_NE(changed.verdict, Verdict::pass);
  EXPECT_EQ(
      item(changed, "update period", "(all)").remark,
      "the unit renewed its lamps every 10.0 ms in the old run and every 50.0 ms in the new one; find out "
      "whether its program was changed");
}

TEST(PairedComparison, ARealChangeIsNeverAsIntended) {
  for (const double by_rpm : {1.0, 2.0, 4.0, 10.0}) {
    int as_intended = 0, unintended = 0;
    for (unsigned seed = 0; seed < 30; ++seed) {
      PlayedUnit one, other;
      one.seed = seed;
      other.moved_rpm = by_rpm;
      const ChangeWord word = item(of_units(one, other), "threshold", "b3").word;
      as_intended += word == ChangeWord::as_intended;
      unintended += word == ChangeWord::unintended;
    }
    // A change that is within the tolerance of 3 rpm with its U does not matter.
    if (by_rpm > 3) {
      EXPECT_EQ(as_intended, 0) << by_rpm;
      EXPECT_GE(unintended, 28) << by_rpm;
    }
  }
  for (const double by_ms : {20.0, 30.0, 50.0}) {
    int passes = 0;
    for (unsigned seed = 0; seed < 30; ++seed) {
      PlayedUnit one, other;
      one.seed = seed;
      other.response_ms += by_ms;
      passes += of_units(one, other).verdict == Verdict::pass;
    }
    EXPECT_EQ(passes, 0) << by_ms;
  }
}

TEST(PairedComparison, AtOneRateOnlyAChangeOfWhicheverCannotBeTold) {
  PlayedUnit one, other;
  one.rates = other.rates = {40};
  EXPECT_EQ(of_units(one, other).verdict, Verdict::pass);
  other.response_ms += 50;  // 2 rpm at that rate
  const Comparison c = of_units(one, other);
  EXPECT_EQ(c.verdict, Verdict::undecided);
  EXPECT_THAT(item(c, "threshold", "b3").remark,
              HasSubstr("at one rate, 40 rpm/s, a moved threshold and a changed response look the same"));
  EXPECT_THAT(item(c, "response", "b3").remark, HasSubstr("play steps as well: they show the response"));
  other = one;
  other.moved_rpm = 20;  // no response makes that
  EXPECT_EQ(item(of_units(one, other), "threshold", "b3").word, ChangeWord::unintended);
}

TEST(PairedComparison, ARowThatCannotBeToldSaysWhichSurveyWould) {
  PlayedUnit one, other;
  one.rates = other.rates = {60, 200, 0, 0};
  one.update_ms = other.update_ms = 50;
  one.seed = 3;
  const Comparison c = of_units(one, other);
  ASSERT_GT(words(c, ChangeWord::cannot_tell), 0);
  for (const ComparisonItem& i : c.items)
    if (i.what == "threshold" && i.word == ChangeWord::cannot_tell) {
      EXPECT_THAT(i.remark, HasSubstr("; measure both again with survey --within ")) << i.boundary;
    }
}

TEST(PairedComparison, TrainsThatDifferAreNotPaired) {
  ComparedRun one = played(ladder(), {}), other = played(ladder(), {});
  other.train = "another";
  for (const ComparisonItem& i : compare(one, other).items)
    if (i.what == "threshold") {
      EXPECT_EQ(i.remark, "not measured in either run");
    }
  other.train = one.train;
  other.gauge.pulses_per_rev = 3;
  EXPECT_EQ(item(compare(one, other), "threshold", "b3").remark, "not measured in either run");
}

// One move out of a window did not come, so that for a while the window showed what
// its neighbour shows.
TEST(PairedComparison, ANeighboursMissedMoveIsNoChangeOfTheCue) {
  const Gauge gauge = ladder();
  ComparedRun after = played(gauge, {});
  after.shown[2] = gauge.windows[3].cue;
  const auto of_b2 = [&] {
    for (const ComparisonItem& i : compare(played(gauge, {}), after).items)
      if (i.what == "cue" && i.boundary == "b2") return i.word;
    return ChangeWord::missing;
  };
  EXPECT_EQ(of_b2(), ChangeWord::unintended);
  for (TransitionResult& row : after.result.transitions)
    if (row.boundary == "b3" && row.direction == Direction::falling) {
      row.seen = false;
      break;
    }
  EXPECT_EQ(of_b2(), ChangeWord::cannot_tell);
  after.shown[2] = gauge.windows[5].cue;  // not what a neighbour shows
  EXPECT_EQ(of_b2(), ChangeWord::unintended);
}

}  // namespace
}  // namespace tachproof

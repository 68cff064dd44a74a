// Flicker certified on simulated units, and predicted for them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <iostream>
#include <nlohmann/json.hpp>

#include "bench/reports/deadband_report.h"
#include "bench/reports/noise_report.h"
#include "bench/rigs/simulated/simulated_rig.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/run/dwell_forecast.h"
#include "bench/run/dwell_run.h"
#include "bench/run/flicker_study.h"
#include "core/flicker/flicker_counter.h"
#include "core/signal/pulse_train.h"
#include "tests/bench/dwell_units.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/survey_units.h"

namespace tachproof {
namespace {

using nlohmann::json;
using ::testing::Each;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;
using ::testing::StartsWith;

Gauge two_lamps(double deadband) {
  Gauge gauge;
  gauge.name = "two lamps";
  gauge.pulses_per_rev = 3;
  gauge.lamps = {{"near", {"white"}}, {"far", {"magenta"}}};
  gauge.windows = {{"calm", 0, {}}, {"brisk", 3600, {1, 0}}, {"hasty", 4200, {2, 0}}};
  gauge.deadband = {deadband, Sits::below};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 120 * ns_per_ms;
  return gauge;
}

Noise road() {
  Noise noise;
  noise.jitter_us = 10;
  noise.wander_rpm = 2;
  noise.wander_s = 0.4;
  return noise;
}

constexpr Nanos longest = 30 * 60 * ns_per_s;

class DwellRun : public ::testing::Test {
 protected:
  RunOutcome run(const Gauge& gauge, const Gauge& unit, const Behaviour& behaviour = {},
                 const RunHooks& hooks = {}, bool to_the_end = false) {
    RunRecord record;
    record.gauge = gauge;
    RunFolder folder = RunFolder::create(scratch / std::to_string(++runs), record);
    Rig rig = simulated_rig(unit, behaviour, gauge, 3);
    const DwellPlan plan{gauge, road(), 5, {1, 0.95, longest}, unit_reading(gauge, behaviour), to_the_end};
    return run_dwell(plan, rig, folder, hooks);
  }
  RunOutcome run_to_the_end(const Gauge& gauge, const Gauge& unit, const Behaviour& behaviour = {},
                            const RunHooks& hooks = {}) {
    return run(gauge, unit, behaviour, hooks, true);
  }
  ScratchFolder scratch;
  int runs = 0;
};

TEST_F(DwellRun, PassesAUnitThatKeepsQuietBeforeItsTimeIsOver) {
  const RunResult result = run(two_lamps(30), two_lamps(30)).result;
  EXPECT_EQ(result.verdict, Verdict::pass);
  ASSERT_THAT(result.flicker, SizeIs(2));
  for (const FlickerResult& row : result.flicker) {
    EXPECT_EQ(row.verdict, Verdict::pass);
    EXPECT_LT(row.duration_s, 29 * 60);
    EXPECT_LE(row.upper_95_per_min, 1);
  }
  EXPECT_NEAR(result.flicker[0].mean_rpm, 3585, 5);
}

TEST_F(DwellRun, FailsAUnitThatFlickersWithinSecondsAndStops) {
  Behaviour noisy;
  noisy.faults = {{"noisy-reading", {}, {{"rpm", 25}}}};
  const RunResult result = run(two_lamps(30), two_lamps(30), noisy).result;
  EXPECT_EQ(result.verdict, Verdict::fail);
  EXPECT_TRUE(result.complete);
  ASSERT_THAT(result.flicker, SizeIs(1));
  EXPECT_EQ(result.flicker[0].boundary, "hasty");  // the noise of a reading is more there
  EXPECT_LT(result.flicker[0].duration_s, 30);
  EXPECT_LT(to_seconds(result.duration), 5);
  ASSERT_FALSE(result.findings.empty());
  EXPECT_EQ(result.findings[0].kind, FindingKind::flicker);
  EXPECT_THAT(result.findings[0].message, HasSubstr("so the unit itself flickers"));
  EXPECT_THAT(
      result.closing,
      StartsWith("boundary hasty makes more than 1.00 lamp changes per minute; not tried: brisk. Width: a "
                 "deadband of "));
  EXPECT_THAT(result.not_visited, ElementsAre("brisk"));
}

TEST_F(DwellRun, GoesOnToTheEndWhereItIsAskedTo) {
  Behaviour noisy;
  noisy.faults = {{"noisy-reading", {}, {{"rpm", 25}}}};
  const RunResult result = run_to_the_end(two_lamps(30), two_lamps(30), noisy).result;
  EXPECT_EQ(result.verdict, Verdict::fail);
  ASSERT_THAT(result.flicker, SizeIs(2));
  EXPECT_EQ(result.flicker[0].boundary, "brisk");  // in the gauge's order, whichever came first
  EXPECT_THAT(result.closing,
              StartsWith("boundaries brisk and hasty make more than 1.00 lamp changes per minute. "
                         "Width: "));
}

TEST_F(DwellRun, SaysHowLongItTakesBeforeItBegins) {
  std::vector<std::string> said;
  bool begun = false;
  RunHooks hooks;
  hooks.announce = [&](const std::string& sentence) {
    EXPECT_FALSE(begun);
    said.push_back(sentence);
  };
  hooks.progress = [&](const RunProgress&) { begun = true; };
  const RunResult result = run(two_lamps(30), two_lamps(30), {}, hooks).result;
  EXPECT_TRUE(begun);
  ASSERT_THAT(said, SizeIs(1));
  EXPECT_THAT(said[0], StartsWith("The dwell of 2 boundaries takes about 33 min if the lamps keep quiet, at "
                                  "most "));
  EXPECT_NEAR(to_seconds(result.duration) / 60, 32, 8);  // a change more or less is 3 min
}

// Where the scenario ends a hold sooner than a pass could come.
TEST_F(DwellRun, ForeseesNoMoreThanItsLongest) {
  const Gauge gauge = two_lamps(30);
  for (const Nanos hold : {20 * ns_per_s, longest}) {
    const Dwell dwell{1, 0.95, hold};
    const DwellForecast forecast(gauge, road(), unit_reading(gauge, {}), dwell, 5);
    EXPECT_LE(forecast.quiet(), longest_dwell(gauge, dwell));
  }
}

TEST_F(DwellRun, IsUndecidedWhenItWasStoppedWhateverItHadShown) {
  Behaviour noisy;
  noisy.faults = {{"noisy-reading", {}, {{"rpm", 25}}}};
  // On the way through the second boundary.
  int looks = 0;
  RunHooks counted;
  counted.stop = [&]() -> std::optional<std::string> {
    ++looks;
    return std::nullopt;
  };
  run_to_the_end(two_lamps(30), two_lamps(30), noisy, counted);
  const int most_looks = looks - 2;
  looks = 0;
  RunHooks hooks;
  hooks.stop = [&]() -> std::optional<std::string> {
    return ++looks > most_looks ? std::optional<std::string>("stopped by a test") : std::nullopt;
  };
  const RunResult result = run_to_the_end(two_lamps(30), two_lamps(30), noisy, hooks).result;
  ASSERT_FALSE(result.flicker.empty());
  EXPECT_EQ(result.flicker[0].verdict, Verdict::fail);
  EXPECT_FALSE(result.complete);
  EXPECT_EQ(result.verdict, Verdict::undecided);
}

TEST_F(DwellRun, NeverPassesAUnitThatIsLostOnTheWay) {
  // Quiet, for it has died: in the hold of either boundary, or in its visits.
  for (const double at_s : {3.0, 14.0, 300.0, 1200.0}) {
    Behaviour dies;
    dies.faults = {{"freeze", {}, {{"at_s", at_s}}}};
    const RunResult result = run(two_lamps(30), two_lamps(30), dies).result;
    EXPECT_EQ(result.verdict, Verdict::undecided) << at_s;
    EXPECT_THAT(result.closing, HasSubstr("not decided")) << at_s;
  }
}

TEST_F(DwellRun, DoesNotHoldAllBoundariesOfAUnitThatFollowsNowhere) {
  Behaviour elsewhere;
  elsewhere.faults = {{"wrong-pulses-per-rev", {}, {{"pulses_per_rev", 6}}}};
  const RunResult result = run(nine_lamps(12), nine_lamps(12), elsewhere).result;
  EXPECT_EQ(result.verdict, Verdict::undecided);
  EXPECT_TRUE(result.complete);
  EXPECT_LT(to_seconds(result.duration), 120);
  EXPECT_THAT(result.flicker, IsEmpty());
  EXPECT_EQ(result.closing, "boundaries w8 and w9 are not decided; not tried: w1, w2, w3, w4, w5, w6 and w7");
}

// The holds that Wald's test needs on average, at the rates of this simulation.
double needed_s(const RunResult& result, double limit_per_min) {
  const RateTest test = Dwell{limit_per_min, 0.95, longest}.test(1);
  double sum = 0;
  for (const FlickerResult& row : result.flicker) sum += 60 * test.expected_min(row.rate_per_min / 2);
  return sum;
}

TEST_F(DwellRun, PassesNineBoundariesInLittleMoreThanTheirHolds) {
  const RunResult result = run(nine_lamps(40), nine_lamps(40)).result;
  EXPECT_EQ(result.verdict, Verdict::pass);
  ASSERT_THAT(result.flicker, SizeIs(9));
  EXPECT_LE(to_seconds(result.duration), 1.3 * needed_s(result, 1));
}

// Holds of 15 s: what is beside them counts.
TEST_F(DwellRun, VisitsNineBoundariesInLittleTime) {
  const Gauge gauge = nine_lamps(40);
  RunRecord record;
  record.gauge = gauge;
  RunFolder folder = RunFolder::create(scratch / "brief", record);
  Rig rig = simulated_rig(gauge, {}, gauge, 3);
  const RunResult result =
      run_dwell({gauge, road(), 5, {60, 0.95, longest}, unit_reading(gauge, {})}, rig, folder).result;
  EXPECT_EQ(result.verdict, Verdict::pass);
  ASSERT_THAT(result.flicker, SizeIs(9));
  double held_s = 0;
  for (const FlickerResult& row : result.flicker) held_s += row.duration_s;
  EXPECT_LT(to_seconds(result.duration) - held_s, 9 * 5);
}

TEST_F(DwellRun, FailsOneOfNineBoundariesInLittleMoreThanItsHold) {
  // A deadband that lets each boundary flicker some twenty times a minute or more.
  const RunResult result = run(nine_lamps(9), nine_lamps(9)).result;
  EXPECT_EQ(result.verdict, Verdict::fail);
  ASSERT_THAT(result.flicker, SizeIs(1));
  EXPECT_LE(to_seconds(result.duration), 1.3 * result.flicker[0].duration_s + 2.5);
}

TEST_F(DwellRun, NamesAWidthThatHolds) {
  const RunResult result = run(two_lamps(4), two_lamps(4)).result;
  ASSERT_EQ(result.verdict, Verdict::fail);
  const std::string before = "Width: a deadband of ";
  const std::size_t at = result.closing.find(before);
  ASSERT_NE(at, std::string::npos) << result.closing;
  const double width = std::strtod(result.closing.c_str() + at + before.size(), nullptr);
  EXPECT_GT(width, 4);
  EXPECT_NE(run(two_lamps(width), two_lamps(width)).result.verdict, Verdict::fail);
}

TEST_F(DwellRun, BlamesTheNoiseWhereADeadbandIsTooNarrowForIt) {
  const RunResult result = run(two_lamps(2), two_lamps(2)).result;
  EXPECT_EQ(result.verdict, Verdict::fail);
  ASSERT_FALSE(result.findings.empty());
  EXPECT_THAT(result.findings[0].message, HasSubstr("jitter and wander of the signal"));
}

TEST_F(DwellRun, FindsTheDeadbandOfAUnitWhoseBoundaryHasMoved) {
  // A narrow deadband, 25 rpm from where the settings have it: held where the
  // settings say, it would never flicker.
  Behaviour moved;
  moved.faults = {{"boundary-moved", {{"boundary", "brisk"}}, {{"by_rpm", 25}}}};
  const RunResult result = run_to_the_end(two_lamps(2), two_lamps(2), moved).result;
  ASSERT_FALSE(result.flicker.empty());
  EXPECT_NEAR(result.flicker[0].mean_rpm, 3624, 5);
  EXPECT_EQ(result.flicker[0].verdict, Verdict::fail);
}

TEST_F(DwellRun, NeverPassesAUnitWhoseLampsDoNotFollow) {
  Gauge elsewhere = two_lamps(30);
  elsewhere.windows[1].from_rpm = 3100;
  const RunResult result = run(two_lamps(30), elsewhere).result;
  EXPECT_EQ(result.verdict, Verdict::undecided);
  ASSERT_FALSE(result.notes.empty());
  EXPECT_EQ(result.notes[0],
            "boundary brisk: the lamps did not change on and off between 3525 and 3645 rpm, so there is no "
            "rpm to hold at: check its threshold with a survey first");
}

// Whole units, from the sweep that finds their deadband to the verdict; the
// numbers of many more are in tests/benchmarks/DWELL.md.
std::vector<CertifiedUnit> certified(const std::function<DwellUnit(std::uint64_t)>& draw, std::uint64_t first,
                                     std::uint64_t in_ci, std::uint64_t boundaries) {
  const char* const asked = std::getenv("TACHPROOF_UNITS");
  const std::uint64_t count = asked ? std::strtoull(asked, nullptr, 10) : in_ci;
  auto units = certify_units(draw, first, count, 20);
  if (asked)
    std::cout << verdict_table(units, &CertifiedUnit::held_rate) << "\n"
              << verdict_table(units, &CertifiedUnit::worst_rate);
  EXPECT_EQ(units.size(), count * boundaries);
  return units;
}

void expect_few_false_words(const std::vector<CertifiedUnit>& units) {
  const auto rate = &CertifiedUnit::held_rate;
  const VerdictCount good = count_verdicts(units, rate, 0, 1), bad = count_verdicts(units, rate, 1, 100);
  EXPECT_EQ(good.units + bad.units, units.size());
  EXPECT_GT(good.units, units.size() / 4);
  EXPECT_GT(bad.units, units.size() / 5);
  EXPECT_LE(clopper_pearson(bad.passes, bad.units, 0.999).low, 0.05);
  EXPECT_LE(clopper_pearson(good.fails, good.units, 0.999).low, 0.05);
  // It is no test that never speaks.
  const VerdictCount quiet = count_verdicts(units, rate, 0, 0.6);
  const VerdictCount restless = count_verdicts(units, rate, 1.7, 100);
  EXPECT_GE(clopper_pearson(quiet.passes, quiet.units, 0.999).high, 0.9);
  EXPECT_GE(clopper_pearson(restless.fails, restless.units, 0.999).high, 0.9);
}

const auto own_unit = [](std::uint64_t number) { return dwell_unit(number); };

TEST(DwelledUnits, AreNotPassedOrFailedWronglyMoreOftenThanTheConfidenceAllows) {
  expect_few_false_words(certified(own_unit, 1, 60, 1));
}

TEST(DwelledUnits, NorAtBoundariesThatWereVisitedAfterOthers) {
  expect_few_false_words(certified(own_unit, first_with_three, 25, 3));
}

TEST(DwelledUnits, NorWhereTheirChangesComeInBursts) {
  expect_few_false_words(certified(own_unit, first_with_bursts, 40, 1));
}

// Units that remember, update seldom, or answer unlike up and down, and that the dwell takes for usual ones.
TEST(DwelledUnits, NorWhereTheyAreNoneOfTheProgramsOwn) {
  std::vector<CertifiedUnit> units;
  for (const Physics physics : all_physics) {
    const auto draw = [&](std::uint64_t number) { return dwell_unit(physics, number); };
    for (const CertifiedUnit& unit : certified(draw, 1, 3, 3)) {
      units.push_back(unit);
      // 50 ms are 0.5 rpm at 20 rpm/s, to one side.
      if (physics == Physics::apart && unit.held_s > 2) {
        EXPECT_NEAR(unit.off_rpm, 0, 0.2);
      }
    }
  }
  const auto rate = &CertifiedUnit::worst_rate;
  const VerdictCount good = count_verdicts(units, rate, 0, 1), bad = count_verdicts(units, rate, 1, 1e9);
  EXPECT_LE(clopper_pearson(bad.passes, bad.units, 0.999).low, 0.05);
  EXPECT_LE(clopper_pearson(good.fails, good.units, 0.999).low, 0.05);
  const VerdictCount quiet = count_verdicts(units, rate, 0, 0.6);
  const VerdictCount restless = count_verdicts(units, rate, 1.7, 1e9);
  EXPECT_GE(quiet.passes, quiet.units * 2 / 3);
  EXPECT_GE(restless.fails, restless.units * 2 / 3);
  EXPECT_GT(std::min(quiet.units, restless.units), 5U);
}

TEST(FlickerCounter, CountsFromWhereItIsToldTo) {
  const Gauge gauge = two_lamps(10);
  FlickerCounter counter(gauge, gauge.all_channels());
  counter.watch(1, ns_per_s);
  std::vector<LampEvent> events = {{0, 0}};
  for (int i = 1; i <= 6; ++i)
    events.push_back({i * 400 * ns_per_ms, i % 2 == 1 ? Channels{1} : Channels{0}});
  counter.lamps(events);
  counter.seen_until(4 * ns_per_s);
  EXPECT_EQ(counter.changes(), 4u);  // at 1.2, 1.6, 2.0 and 2.4 s
  EXPECT_EQ(counter.cycles(), 2u);
}

// Lamp changes of the simulated unit held at `mean`.
double changes_per_min(const Gauge& gauge, const Noise& noise, double mean, double minutes) {
  SimulatedUnit unit(gauge, {}, gauge, 3);
  const std::vector<Step> steps = {Hold{mean, from_seconds(60 * minutes)}};
  const Profile profile(steps);
  PulseTrain train(profile, gauge.pulses_per_rev, noise, 77);
  std::vector<Nanos> block(4096);
  std::vector<LampEvent> events;
  while (const std::size_t n = train.next(block)) unit.run(std::span(block).first(n), block[n - 1], events);
  return static_cast<double>(events.size()) / minutes;
}

TEST(FlickerStudy, PredictsWhatTheSimulatedUnitDoes) {
  for (const double width : {4.0, 8.0, 12.0}) {
    const Gauge gauge = two_lamps(width);
    FlickerAsk ask;
    ask.noise = road();
    ask.unit = unit_reading(gauge, {});
    const FlickerStudy study = study_flicker(gauge, ask);
    const WidthRow& row = study.boundaries[0].rows[static_cast<std::size_t>(width)];
    const double minutes = 240;
    const double seen = changes_per_min(gauge, ask.noise, row.mean_rpm, minutes);
    const double cycles = row.rate_per_min * minutes / 2;
    EXPECT_NEAR(seen / row.rate_per_min, 1, 4 * std::sqrt(row.simulated.dispersion / cycles) + 0.05) << width;
  }
}

TEST(FlickerStudy, IsTheSameOnAnyNumberOfThreads) {
  FlickerAsk ask;
  ask.noise = road();
  ask.unit = unit_reading(two_lamps(7), {});
  ask.minutes = 100;
  std::vector<std::string> texts;
  for (const unsigned threads : {1u, 2u, 5u}) {
    ask.threads = threads;
    DeadbandRecord record;
    record.gauge = two_lamps(7);
    record.ask = ask;
    record.study = study_flicker(record.gauge, ask);
    texts.push_back(deadband_json(record));
  }
  EXPECT_THAT(texts, Each(texts[0]));
}

TEST(FlickerStudy, WhatIsRecommendedHoldsAndWhatIsNarrowerDoesNot) {
  FlickerAsk ask;
  ask.noise = road();
  ask.unit = unit_reading(two_lamps(7), {});
  const FlickerStudy study = study_flicker(two_lamps(7), ask);
  ASSERT_TRUE(study.recommended);
  ASSERT_GT(*study.recommended, 0u);
  for (const BoundaryCurve& curve : study.boundaries)
    for (std::size_t r = *study.recommended; r < curve.rows.size(); ++r)
      EXPECT_LE(curve.rows[r].upper_per_min, ask.limit_per_min);
  EXPECT_GT(study.boundaries[study.decisive].rows[*study.recommended - 1].upper_per_min, ask.limit_per_min);
}

TEST(FlickerStudy, RecommendsNothingWhereMissingPulsesAloneAreTooMany) {
  FlickerAsk ask;
  ask.noise = road();
  ask.noise.missing = 1e-3;
  ask.minutes = 100;
  DeadbandRecord record;
  record.gauge = two_lamps(40);
  ask.unit = unit_reading(record.gauge, {});
  record.ask = ask;
  record.study = study_flicker(record.gauge, ask);
  EXPECT_FALSE(record.study.recommended);
  EXPECT_EQ(record.study.reason.cause, FlickerCause::missing_pulses);
  EXPECT_TRUE(json::parse(deadband_json(record))["recommended_rpm"].is_null());
  EXPECT_EQ(deadband_answer(record),
            "No deadband keeps this signal under 1 lamp change per minute: at boundary hasty its missing and "
            "doubled pulses alone make 25.2. Mend the signal.");
}

DeadbandRecord small_record() {
  DeadbandRecord record;
  record.gauge = two_lamps(7);
  record.noise = "road <noise>.yaml";
  record.reading = "average of 4 pulses";
  record.kmh_per_rpm = 0.016;
  record.ask.noise = road();
  record.ask.minutes = 100;
  record.ask.unit = unit_reading(record.gauge, {});
  record.study = study_flicker(record.gauge, record.ask);
  return record;
}

TEST(DeadbandReport, HasTheContractsFields) {
  const json out = json::parse(deadband_json(small_record()));
  for (const char* key : {"recommended_rpm", "limit_per_min", "confidence", "boundary", "mean_rpm", "curve"})
    EXPECT_TRUE(out.contains(key)) << key;
  ASSERT_EQ(out["curve"].size(), 51u);
  for (const char* key : {"width_rpm", "rate_per_min", "upper_95_per_min", "closed_form_per_min"})
    EXPECT_TRUE(out["curve"][0].contains(key)) << key;
  EXPECT_TRUE(out["curve"][0]["closed_form_per_min"].is_number());
}

TEST(DeadbandReport, FitsATerminalOfEightyColumns) {
  const std::string text = deadband_text(small_record());
  std::size_t start = 0;
  for (std::size_t end; (end = text.find('\n', start)) != std::string::npos; start = end + 1)
    EXPECT_LE(end - start, 80u) << text.substr(start, end - start);
  EXPECT_THAT(text, HasSubstr("km/h of resolution"));
}

TEST(DeadbandReport, PageStandsAloneAndEscapesWhatUsersWrote) {
  const std::string page = deadband_html(small_record());
  EXPECT_THAT(page, HasSubstr("road &lt;noise&gt;.yaml"));
  EXPECT_THAT(page, HasSubstr("class=\"dashed\""));
  EXPECT_EQ(page.find("<script"), std::string::npos);
  EXPECT_EQ(page.find("http://"), std::string::npos);
  EXPECT_EQ(page.find("nan"), std::string::npos);
}

NoiseRecord fitted_record() {
  Noise noise = road();
  noise.firing = {0, 0.4, -0.4};
  const std::vector<Step> steps = {Hold{3720, 40 * ns_per_s}};
  const Profile profile(steps);
  PulseTrain train(profile, 3, noise, 2);
  std::vector<Nanos> edges(20'000);
  edges.resize(train.next(edges));
  return {"road.vcd", "", fit_noise(edges, {})};
}

TEST(NoiseReport, HasTheContractsFields) {
  const NoiseRecord record = fitted_record();
  const json out = json::parse(noise_json(record));
  for (const char* key : {"pulses", "duration_s", "pulses_per_rev", "mean_rpm", "jitter_us", "wander_rpm",
                          "wander_s", "firing", "missing", "doubled", "intervals", "fits"})
    EXPECT_TRUE(out.contains(key)) << key;
  EXPECT_EQ(out["fits"], true);
  EXPECT_EQ(out["intervals"]["jitter_us"].size(), 2u);
  EXPECT_THAT(noise_html(record), HasSubstr("Allan deviation"));
}

TEST(NoiseReport, PrintsANoiseFileThatReadsBack) {
  const ScratchFolder scratch;
  const NoiseRecord record = fitted_record();
  const Noise read = load_noise(scratch.write("fitted.yaml", noise_text(record)));
  EXPECT_NEAR(read.jitter_us, record.fit.noise.jitter_us, 0.01);
  EXPECT_NEAR(read.wander_s, record.fit.noise.wander_s, 0.001);
  ASSERT_THAT(read.firing, SizeIs(3));
  EXPECT_NEAR(read.firing[1], record.fit.noise.firing[1], 2e-4);
}

TEST(NoiseReport, WritesAHighSpeedInFull) {
  NoiseRecord record = fitted_record();
  record.fit.mean_rpm = 15'000.4;
  EXPECT_THAT(noise_text(record), HasSubstr("3 pulses per revolution, 15000 rpm."));
}

TEST(NoiseReport, SaysWhyAndGivesNoBlockWhereNothingCouldBeFitted) {
  const std::vector<Nanos> few(3, 0);
  const NoiseRecord record{"few.txt", "", fit_noise(few, {})};
  EXPECT_EQ(noise_text(record),
            "# few.txt: 3 pulses in 0.00 s, unknown pulses per revolution, unknown rpm.\n"
            "# Does not fit: the recording is too short: 3 pulses; record at least 500.\n");
  EXPECT_TRUE(json::parse(noise_json(record))["mean_rpm"].is_null());
}

}  // namespace
}  // namespace tachproof

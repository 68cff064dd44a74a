#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <regex>

#include "bench/reports/drawing.h"
#include "bench/reports/hatch.h"
#include "bench/reports/run_report.h"
#include "bench/reports/strip.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::Not;

std::string html(const drumlin::Run& run) { return report_html(run.record, run.trace); }

// Every element that HTML demands to be closed is, in order.
void expect_balanced(const std::string& text) {
  const std::regex tag("<(/?)([a-z][a-z0-9]*)[^>]*?(/?)>");
  std::vector<std::string> open;
  for (auto i = std::sregex_iterator(text.begin(), text.end(), tag); i != std::sregex_iterator(); ++i) {
    const std::string name = (*i)[2];
    if ((*i)[3].length() > 0 || name == "meta") continue;
    if ((*i)[1].length() == 0) {
      open.push_back(name);
      continue;
    }
    ASSERT_FALSE(open.empty()) << name;
    ASSERT_EQ(open.back(), name) << "at " << i->position();
    open.pop_back();
  }
  EXPECT_TRUE(open.empty());
}

TEST(ReportHtml, IsOneFileThatFetchesAndRunsNothing) {
  for (const drumlin::Run& run : {drumlin::passing(), drumlin::failing(), drumlin::undecided()}) {
    const std::string text = html(run);
    expect_balanced(text);
    for (const char* no : {"<script", "<link", "<img", "@import", "src=", "http://", "https://", "url(\""})
      EXPECT_THAT(text, Not(HasSubstr(no)));
  }
}

TEST(ReportHtml, SaysTheVerdictInLargeWithItsReason) {
  EXPECT_THAT(
      html(drumlin::passing()),
      HasSubstr(
          "<div class=\"verdict pass\"><strong>PASS</strong><div><p>All 20 expected transitions came as they "
          "should. Nothing wrong was seen.</p></div></div>"));
  EXPECT_THAT(html(drumlin::failing()), HasSubstr("<div class=\"verdict fail\"><strong>FAIL</strong>"));
  EXPECT_THAT(html(drumlin::failing()), HasSubstr("<p>Not wired, so <b>not judged</b>: top magenta.</p>"));
  EXPECT_THAT(
      html(drumlin::undecided()),
      HasSubstr("<div class=\"verdict undecided\"><strong>UNDECIDED</strong><div><p>The watcher was lost at "
                "44.333 s.</p></div></div>"));
}

TEST(ReportHtml, ARunThatDidNotEndIsNeverShownAsAPass) {
  drumlin::Run run = drumlin::passing();
  run.record.result.complete = false;
  EXPECT_THAT(html(run), HasSubstr("<strong>UNDECIDED</strong>"));
  EXPECT_THAT(html(run), Not(HasSubstr("PASS")));
}

TEST(ReportHtml, MissingEvidenceStandsInWords) {
  const std::string text = html(drumlin::undecided());
  EXPECT_THAT(text, HasSubstr("88.667 s, NOT COMPLETE"));
  EXPECT_THAT(text, HasSubstr("12 LOST"));
  EXPECT_THAT(text, HasSubstr("<b>not seen</b>, due 46.027 to 46.187 s"));
  EXPECT_THAT(text, HasSubstr(">NOT SEEN</text>"));
}

// The unit's rpm jumps from 1000 to 6000 at 2 s; the threshold is 3000, give or take 3.
std::string close_up_of_a_step() {
  drumlin::Run run = drumlin::small();
  run.record.gauge.tolerance.rpm = 3;
  run.trace.rpm = {{0, 1000}, {2 * ns_per_s, 1000}, {2 * ns_per_s, 6000}, {4 * ns_per_s, 6000}};
  TransitionResult t;
  t.boundary = "brisk";
  t.nominal_rpm = 3000;
  t.earliest = t.nominal = 2 * ns_per_s;
  t.latest = 2 * ns_per_s + 120 * ns_per_ms;
  t.seen = t.step = true;
  t.at = 2 * ns_per_s + 50 * ns_per_ms;
  t.observed_rpm = 6000;
  t.verdict = Verdict::pass;
  return close_up_drawing(run.record, run.trace, t);
}

TEST(ReportHtml, ACloseUpOfAStepShowsItsFootAndHeadAndTheToleranceBand) {
  const std::string text = close_up_of_a_step();
  EXPECT_THAT(text, HasSubstr(">1000</text>"));
  EXPECT_THAT(text, HasSubstr(">6000</text>"));
  std::smatch band;
  ASSERT_TRUE(std::regex_search(text, band, std::regex("height=\"([0-9.]+)\" class=\"band\""))) << text;
  EXPECT_GE(std::stod(band[1]), 10) << "too thin to be seen";
  // Both levels lie within the picture, apart from its edges (30 and 180) and from each other.
  std::smatch line;
  ASSERT_TRUE(std::regex_search(text, line, std::regex("<path d=\"([^\"]*)\" class=\"rpm\"/>"))) << text;
  const std::string points = line[1];
  double highest = 1e9, lowest = 0;
  const std::regex point("[ML]([0-9.]+) ([0-9.]+)");
  for (auto i = std::sregex_iterator(points.begin(), points.end(), point); i != std::sregex_iterator(); ++i) {
    highest = std::min(highest, std::stod((*i)[2]));
    lowest = std::max(lowest, std::stod((*i)[2]));
  }
  EXPECT_GT(highest, 31);
  EXPECT_LT(lowest, 179);
}

TEST(ReportHtml, WhatDidNotPassStandsBeforeEverythingElse) {
  const std::string text = html(drumlin::failing());
  const std::size_t verdict = text.find("<strong>FAIL</strong>"),
                    picture = text.find("deviation of every threshold"),
                    list = text.find("<h2>What did not pass</h2>"), run = text.find("<h2>The run</h2>"),
                    findings = text.find("<h2>Findings</h2>"), tested = text.find("<h2>What was tested</h2>");
  for (const auto& [before, after] :
       {std::pair(verdict, picture), std::pair(picture, list), std::pair(list, run), std::pair(run, findings),
        std::pair(findings, tested)}) {
    EXPECT_NE(after, std::string::npos);
    EXPECT_LT(before, after);
  }
  EXPECT_THAT(html(drumlin::passing()), Not(HasSubstr("<h2>What did not pass</h2>")));
  EXPECT_THAT(html(drumlin::passing()), Not(HasSubstr("<h2>Findings</h2>")));
}

TEST(ReportHtml, EqualFindingsAreOneRowWithACount) {
  drumlin::Run run = drumlin::failing();
  run.record.result.findings.assign(7, {FindingKind::early, ns_per_s, "on-limit", "left", "The same"});
  run.record.result.findings.back().at = 3 * ns_per_s;
  const std::string text = html(run);
  EXPECT_THAT(text, HasSubstr("<td class=\"n\">1.000 to 3.000</td>"));
  EXPECT_THAT(text, HasSubstr("<td class=\"n\">7</td><td class=\"w\">The same.</td>"));
}

TEST(ReportHtml, ARunOnTheBuiltInUnitSaysSoOnEveryPage) {
  drumlin::Run run = drumlin::passing();
  run.record.watch = "simulated";
  EXPECT_THAT(html(run), HasSubstr("<b>SIMULATED</b>"));
  EXPECT_THAT(html(run), HasSubstr("@top-center { content: \"SIMULATED"));  // printed
  EXPECT_THAT(html(run), Not(HasSubstr("Clock calibrated")));
  run.record.watch = "board";
  EXPECT_THAT(html(run), Not(HasSubstr("SIMULATED")));
}

TEST(ReportHtml, EscapesEveryNameThatAUserGives) {
  const std::string evil = "<b>&\"'</b><script>alert(1)</script>";
  drumlin::Run run = drumlin::failing();
  RunRecord& r = run.record;
  for (std::string* text : {&r.gauge_name,
                            &r.scenario_name,
                            &r.unit_serial,
                            &r.source,
                            &r.watch,
                            &r.source_description,
                            &r.watch_description,
                            &r.started,
                            &r.tool_version,
                            &r.gauge.name,
                            &r.gauge.anchors[0].first,
                            &r.gauge.lamps[0].id,
                            &r.gauge.lamps[0].colours[0],
                            &r.gauge.windows[1].name,
                            &r.result.transitions[0].boundary,
                            &r.result.boundaries[0].boundary,
                            &r.result.boundaries[0].remark,
                            &r.result.blinks[0].window,
                            &r.result.blinks[0].lamp,
                            &r.result.flicker[0].boundary,
                            &r.result.answers[0].question,
                            &r.result.answers[0].answer,
                            &r.result.answers[0].expected,
                            &r.result.levels[0].lamp,
                            &r.result.findings[0].window,
                            &r.result.findings[0].lamp,
                            &r.result.findings[0].message,
                            &r.result.not_judged[0],
                            &r.result.notes[0],
                            &r.inputs[0].first,
                            &r.inputs[0].second})
    *text = evil;
  const std::string text = html(run);
  EXPECT_THAT(text, Not(HasSubstr("<script")));
  EXPECT_THAT(text, Not(HasSubstr("<b>&\"")));
  EXPECT_THAT(text, HasSubstr("&lt;b&gt;&amp;&quot;&#39;&lt;/b&gt;&lt;script&gt;alert(1)&lt;/script&gt;"));
  expect_balanced(text);
}

TEST(ReportHtml, StandsAnythingThatIsNoNumber) {
  drumlin::Run run = drumlin::passing();
  const double infinity = std::numeric_limits<double>::infinity();
  run.trace.rpm[1].rpm = std::nan("");
  run.trace.rpm[2].rpm = infinity;
  run.record.gauge.tolerance.rpm = infinity;
  run.record.gauge.windows[2].from_rpm = std::nan("");
  run.record.result.transitions[0].nominal_rpm = std::nan("");
  run.record.result.transitions[1].observed_rpm = -infinity;
  const std::string text = html(run);
  expect_balanced(text);
  EXPECT_THAT(text, Not(testing::ContainsRegex("\"-?(nan|inf)")));
  expect_balanced(report_html(RunRecord{}, Trace{}));
}

// 24 h of a wave across two boundaries, lamps dimmed by PWM throughout.
TEST(ReportHtml, StaysSmallForALongRun) {
  drumlin::Run run = drumlin::passing();
  RunResult& r = run.record.result;
  const TransitionResult one = r.transitions[0];
  run.trace = {};
  for (int i = 0; i < 43'200; ++i) {
    TransitionResult t = one;
    t.at = i * 2 * ns_per_s + ns_per_ms;
    t.earliest = t.at - 10 * ns_per_ms;
    t.latest = t.at + 100 * ns_per_ms;
    if (i == 40'000) t.verdict = Verdict::fail;
    r.transitions.push_back(t);
    run.trace.reaches.push_back({t.earliest, 0, 1});
    run.trace.reaches.push_back({t.latest, 1, 1});
    for (int k = 0; k < 10; ++k)
      run.trace.rpm.push_back({i * 2 * ns_per_s + k * 200 * ns_per_ms, 3000.0 + 97 * k});
    for (int k = 0; k < 20; ++k)
      run.trace.lamps.push_back({i * 2 * ns_per_s + k * 100 * ns_per_ms, k % 2 == 0 ? ~Channels{0} : 0});
  }
  r.findings.assign(1000, {FindingKind::early, ns_per_s, "on-limit", "left", "Forty words of some message."});
  r.duration = 86'400 * ns_per_s;
  const std::string text = html(run);
  EXPECT_LT(text.size(), 2'000'000u);
  EXPECT_THAT(text, HasSubstr("400 of 43220 rows, those that are no pass first; 1 in all are no pass."));
  EXPECT_THAT(text, HasSubstr("<td class=\"n\">40021</td>"));  // the one that failed
  EXPECT_THAT(text, HasSubstr("<td class=\"n\">1000</td><td class=\"m\">Forty words of some message.</td>"));
}

TEST(ReportHtml, SaysWhenTheDrawingIsNotWhole) {
  drumlin::Run run = drumlin::passing();
  EXPECT_THAT(html(run), Not(HasSubstr("The drawing is not whole:")));
  run.trace.thinned = true;
  EXPECT_THAT(html(run), HasSubstr("The drawing is not whole:"));
}

// With more than 24 pairs to draw, what is no pass is drawn all the same.
TEST(ReportHtml, DrawsTheWorstCloseUpsFirst) {
  drumlin::Run run = drumlin::passing();
  RunResult& r = run.record.result;
  for (int i = 0; i < 30; ++i) {
    r.transitions.push_back(r.transitions[0]);
    r.transitions.back().boundary = "extra-" + std::to_string(i);
  }
  r.transitions.back().verdict = Verdict::undecided;
  EXPECT_THAT(html(run), HasSubstr("24 of 48 are drawn."));
  EXPECT_THAT(html(run), HasSubstr(">extra-29, rising: UNDECIDED</text>"));
}

TEST(ReportHtml, DrawsTheWorstVisitOfABoundary) {
  drumlin::Run run = drumlin::passing();
  TransitionResult further = run.record.result.transitions[0];
  further.deviation_rpm += 17;  // 20 of at most 21; the others are 3, of at least -3
  further.observed_rpm += 17;
  further.at += from_seconds(17 / drumlin::rate);
  run.record.result.transitions.push_back(further);
  EXPECT_THAT(html(run), HasSubstr(">10.8667 s, 3480.00 rpm</text>"));
}

// CSS Color Module Level 4, section 6.1.
TEST(LampColours, AreKnownByTheirCssNames) {
  for (const char* known : {"white", "Blue", "MAGENTA", "rebeccapurple", "aliceblue", "yellowgreen"})
    EXPECT_TRUE(is_css_colour(known)) << known;
  for (const char* unknown : {"", "whitish", "hite", "blue violet", "aqua aquamarine", "warm-white", "#fff"})
    EXPECT_FALSE(is_css_colour(unknown)) << unknown;
}

TEST(LampColours, HaveEachTheirOwnHatchAndAName) {
  const std::string definitions = Palette(drumlin::gauge()).definitions();
  for (const char* id : {"\"lit-0\"", "\"lit-1\"", "\"lit-2\"", "\"flash-2\""})
    EXPECT_THAT(definitions, HasSubstr(id));
  EXPECT_THAT(definitions, Not(HasSubstr("lit-3")));
  const std::string text = html(drumlin::passing());
  for (const char* name : {"</svg> white</span>", "</svg> blue</span>", "</svg> magenta</span>"})
    EXPECT_THAT(text, HasSubstr(name));
}

using LampKind = LampState::Kind;

TEST(LampStrip, ExpectsWhatEveryReachableWindowShows) {
  const Gauge g = drumlin::gauge();
  const std::vector<Reach> reaches = {{0, 0, 0}, {10, 0, 1}, {20, 1, 1}, {30, 5, 6}, {40, 9, 9}};
  const std::vector<LampSpan> left = expected_spans(g, 0, reaches);
  ASSERT_EQ(left.size(), 4u);  // dark, either, white and white again, dark
  EXPECT_EQ(left[1].state.kind, LampKind::either);
  EXPECT_EQ(left[2].from, 20);
  EXPECT_EQ(left[2].state, (LampState{LampKind::lit, 0}));
  EXPECT_EQ(left[3].from, 40);
  EXPECT_EQ(expected_spans(g, 3, reaches).back().state.kind, LampKind::flashing);
}

TEST(LampStrip, ShowsBlinkingAsFlashingAndTwoColoursAsSeveral) {
  const Gauge g = drumlin::gauge();
  std::vector<LampEvent> events = {{0, 0}};
  for (int i = 0; i < 100; ++i) events.push_back({1000 + i, i % 2 == 0 ? Channels{1} : Channels{0}});
  events.push_back({5000, 3});
  const std::vector<ColumnRun> runs = column_runs(seen_spans(g, 0, events), 10'000, 100);
  ASSERT_EQ(runs.size(), 4u);
  EXPECT_EQ(runs[0].state.kind, LampKind::dark);
  EXPECT_EQ(runs[1].state, (LampState{LampKind::flashing, 0}));
  EXPECT_EQ(runs[2].state.kind, LampKind::dark);
  EXPECT_EQ(runs[3].state.kind, LampKind::several);
  EXPECT_EQ(runs[3].first, 50u);
  EXPECT_EQ(runs[3].columns, 50u);
}

TEST(LampStrip, IsUnknownBeforeTheFirstEvent) {
  const std::vector<ColumnRun> runs = column_runs(seen_spans(drumlin::gauge(), 0, {{500, 1}}), 1000, 10);
  ASSERT_EQ(runs.size(), 2u);
  EXPECT_EQ(runs[0].state.kind, LampKind::unknown);
  EXPECT_EQ(runs[1].state.kind, LampKind::lit);
}

}  // namespace
}  // namespace tachproof

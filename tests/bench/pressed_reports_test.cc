// What every report says of a unit that was pressed, dimmed, or lost its supply.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <regex>
#include <set>
#include <sstream>

#include "bench/history/history.h"
#include "bench/history/trends.h"
#include "bench/record/result_json.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/html_tables.h"
#include "bench/reports/run_report.h"
#include "core/cause/missing.h"
#include "core/compare/comparison.h"
#include "core/judge/row_place.h"
#include "tests/bench/approved.h"
#include "tests/bench/junit_rules.h"
#include "tests/bench/pressed_run.h"

namespace tachproof {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

const drumlin::Run& passing() {
  static const drumlin::Run run = pressed::passing();
  return run;
}
const drumlin::Run& failing() {
  static const drumlin::Run run = pressed::failing();
  return run;
}
const drumlin::Run& undecided() {
  static const drumlin::Run run = pressed::undecided();
  return run;
}

std::size_t count(const std::string& text, const std::string& what) {
  std::size_t n = 0;
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++n;
  return n;
}

// From this heading of the terminal's text to the next.
std::string part_of(const std::string& text, const std::string& heading) {
  const std::size_t from = text.find("\n" + heading + "\n");
  return from == std::string::npos ? "" : text.substr(from + 1, text.find("\n\n", from + 1) - from);
}

TEST(PressedReports, SayWhyInOneSentence) {
  EXPECT_THAT(verdict_text(passing().record, 200, false),
              HasSubstr(" 2 presses, 2 dimming levels and 1 power cut pass. Nothing wrong was seen.\n"));
  EXPECT_THAT(verdict_text(failing().record, 200, false),
              HasSubstr("\nFAIL: 'set' was pressed at 71.667 s, at 4000 rpm, and the unit did not take it"));
  EXPECT_THAT(verdict_text(undecided().record, 200, false),
              HasSubstr("UNDECIDED: Not decided: 1 of 1 press. "));
}

TEST(PressedReports, TheTerminalReadsAsApproved) {
  expect_approved("verdict-pressed.txt", verdict_text(passing().record, 80, false));
  for (const drumlin::Run* run : {&passing(), &failing(), &undecided()}) {
    std::istringstream lines(verdict_text(run->record, 80, false));
    for (std::string line; std::getline(lines, line);) EXPECT_LE(code_points(line), 80U) << line;
  }
}

TEST(PressedReports, EachTableNamesEachStateOnce) {
  const std::string text = verdict_text(passing().record, 80, false);
  const std::string page = report_html(passing().record, passing().trace);
  std::set<std::string> states;
  for (const BoundaryResult& row : passing().record.result.boundaries) states.insert(row.state);
  ASSERT_GE(states.size(), 4U);
  for (const std::string& state : states) {
    const std::string name = state.empty() ? "as set" : state;
    for (const char* heading : {"Boundaries", "Deadbands", "Responses", "Transitions, rpm"})
      EXPECT_LE(count(part_of(text, heading), "\n" + name + ":\n"), 1U) << heading << name;
    EXPECT_EQ(count(part_of(text, "Boundaries"), "\n" + name + ":\n"), 1U) << name;
    const std::size_t from = page.find("<h2>Boundaries</h2>");
    EXPECT_EQ(count(page.substr(from, page.find("</table>", from) - from), ">" + name + "</th>"), 1U) << name;
  }
  EXPECT_THAT(verdict_text(drumlin::failing().record, 80, false), Not(HasSubstr("as set:")));
  EXPECT_THAT(report_html(drumlin::failing().record, {}), Not(HasSubstr("<tr class=\"state\">")));
}

TEST(PressedReports, ATableIsThereOnlyWhereItHasRows) {
  for (const char* heading : {"<h2>Presses</h2>", "<h2>Dimming</h2>", "<h2>Power</h2>"}) {
    EXPECT_THAT(report_html(passing().record, passing().trace), HasSubstr(heading));
    EXPECT_THAT(report_html(drumlin::failing().record, {}), Not(HasSubstr(heading)));
  }
  const std::string plain = verdict_text(drumlin::failing().record, 80, false);
  for (const char* heading : {"\nPresses\n", "\nDimming, % of full light\n", "\nPower\n"}) {
    EXPECT_THAT(verdict_text(passing().record, 80, false), HasSubstr(heading));
    EXPECT_THAT(plain, Not(HasSubstr(heading)));
  }
}

TEST(PressedReports, NothingIsTakenWhereItIsRefusedOrIgnored) {
  const std::vector<PressResult>& sound = passing().record.result.presses;
  ASSERT_EQ(sound.size(), 2U);
  EXPECT_EQ(press_word(sound[0]), "");
  EXPECT_EQ(press_word(sound[1]), "refused");
  EXPECT_TRUE(std::isnan(sound[1].taken_rpm));
  const std::vector<PressResult>& ignored = failing().record.result.presses;
  EXPECT_EQ(press_word(ignored[0]), "not taken");
  EXPECT_TRUE(std::isnan(ignored[0].taken_rpm));
  PressResult kept = sound[1];
  kept.refused = false;
  EXPECT_EQ(press_word(kept), "taken");
}

TEST(PressedReports, GroupsOfTransitionsKeepTheStatesApart) {
  const std::vector<TransitionResult>& all = passing().record.result.transitions;
  std::set<std::string> places, groups;
  for (const TransitionResult& t : all) places.insert(row_place(t));
  std::vector<std::string> order;
  for (const TransitionGroup& g : transition_groups(passing().record)) {
    EXPECT_TRUE(groups.insert(row_place(g)).second) << row_place(g);
    EXPECT_EQ(row_place(all[g.worst]), row_place(g));
    if (order.empty() || order.back() != g.state) order.push_back(g.state);
  }
  EXPECT_EQ(groups, places);
  EXPECT_EQ(order.size(), std::set<std::string>(order.begin(), order.end()).size()) << "states lie together";
}

TEST(PressedReports, WhatDidNotPassBeginsWithThePress) {
  const std::string list = not_passed_html(failing().record);
  const std::size_t press = list.find("<td class=\"m\">set at 71.667 s</td><td class=\"w\">press</td>"),
                    power = list.find("<td class=\"w\">power</td>"),
                    row = list.find(", after set 1 at 4000 rpm");
  EXPECT_NE(press, std::string::npos) << list;
  EXPECT_THAT(list, HasSubstr("pressed at 4000.0 rpm: not taken"));
  EXPECT_LT(press, row);
  EXPECT_LT(power, row);
  EXPECT_EQ(not_passed_html(passing().record).find("<td class=\"w\">press</td>"), std::string::npos);
}

TEST(PressedReports, ThePictureOfAllBoundariesNamesTheStates) {
  const std::string page = report_html(passing().record, passing().trace);
  const std::string picture = page.substr(page.find("<figure class=\"deviations\">"));
  EXPECT_EQ(count(picture.substr(0, picture.find("</figure>")), ">after set 1 at 4000 rpm</text>"), 1U);
}

// What a press took is known to half an rpm: the bands of what then hangs from it are so much wider.
TEST(PressedReports, BandsAfterATakeShowItsDoubt) {
  const std::string page = report_html(passing().record, passing().trace);
  const std::string picture = page.substr(page.find("<figure class=\"deviations\">"));
  EXPECT_THAT(picture.substr(0, picture.find("</figure>")), HasSubstr(">± 0.5 more: the take</text>"));
  EXPECT_THAT(page, HasSubstr(">4000.0 ± 3.5 rpm (the take: 0.5)</text>"));
  EXPECT_THAT(page, HasSubstr(">3720.0 ± 3.0 rpm</text>"));
}

TEST(PressedReports, JunitHasACaseForEachPressLevelAndPowerCut) {
  if (there_is_xmllint())
    for (const drumlin::Run* run : {&passing(), &failing(), &undecided()})
      expect_valid_junit(junit_xml(run->record));
  const std::string xml = junit_xml(passing().record);
  for (const char* name : {"set, press 1", "set, press 2", "glow, press 1", "glow, press 2", "power cut 1"})
    EXPECT_EQ(count(xml, "<testcase name=\"" + std::string(name) + "\""), 1U) << name;
  // A press that was ignored fails its own case, and not that of the steady cues.
  RunRecord record = passing().record;
  record.result.presses[0].verdict = Verdict::fail;
  record.result.findings = {{FindingKind::press_ignored, ns_per_s, "", "", "The unit did not take it"}};
  record.result.verdict = Verdict::fail;
  EXPECT_THAT(junit_xml(record), HasSubstr("failures=\"2\" errors=\"0\""));  // press, verdict
}

// A dip of the supply is a row beside the cuts, by its voltage; and it is read back as it was written.
TEST(PressedReports, ADipOfTheSupplyIsNamedByItsVoltage) {
  drumlin::Run run = pressed::passing();
  PowerResult dip = run.record.result.powers.at(0);
  dip.lowest_v = 4.5;
  run.record.result.powers.push_back(dip);
  PowerResult dark = dip;
  dark.lowest_v = 10.75;
  dark.went_dark = true;
  dark.verdict = Verdict::fail;
  dark.remark = "the unit went dark at 10.8 V, inside what it may be fed";
  run.record.result.powers.push_back(dark);
  run.record.result.states.at(0).fed_v = 12.5;
  const std::string text = verdict_text(run.record, 80, false);
  EXPECT_THAT(part_of(text, "Power"), AllOf(HasSubstr(" fed V   from s"), HasSubstr("\n   off "),
                                            HasSubstr("\n   4.5 "), HasSubstr("\n  10.8 ")));
  EXPECT_THAT(text, HasSubstr("power cuts and dips"));
  const std::string page = report_html(run.record, run.trace);
  EXPECT_THAT(page, AllOf(HasSubstr("supply dip"), HasSubstr("brown-out"), HasSubstr("power cut")));
  EXPECT_THAT(junit_xml(run.record), AllOf(HasSubstr("fed 10.8 V at"), HasSubstr("brown-out")));
  const RunRecord read = record_from_json(result_json(run.record));
  ASSERT_EQ(read.result.powers.size(), 3U);
  EXPECT_TRUE(std::isnan(read.result.powers[0].lowest_v));
  EXPECT_DOUBLE_EQ(read.result.powers[1].lowest_v, 4.5);
  EXPECT_TRUE(read.result.powers[2].went_dark);
  EXPECT_DOUBLE_EQ(read.result.states.at(0).fed_v, 12.5);
}

TEST(PressedReports, WhatIsMissingNamesThePress) {
  const std::vector<std::string> missing =
      missing_evidence(undecided().record.gauge, undecided().record.result);
  EXPECT_THAT(missing, testing::Contains(StartsWith("The press of set at ")));
}

// Where a press has put a boundary says nothing of the unit's drift.
TEST(PressedHistory, ABoundaryThatWasTakenDoesNotDrift) {
  TemporaryFolder temporary;
  drumlin::Run run = passing();
  run.record.inputs.clear();
  run.record.result.complete = true;
  RunFolder::create(temporary.path() / "run", run.record, run_pages).finish(run.record, run.trace);
  History history(temporary.path() / "history.db", History::Open::make);
  history.add(temporary.path() / "run");
  const std::vector<HistoryRun> runs = history.runs({});
  ASSERT_EQ(runs.size(), 1U);
  const auto& rows = run.record.result.boundaries;
  const auto as_set = std::count_if(rows.begin(), rows.end(), [](const auto& b) { return b.state.empty(); });
  EXPECT_EQ(runs[0].boundaries.size(), static_cast<std::size_t>(as_set));
  for (const Drift& drift : drifts(runs)) EXPECT_EQ(drift.points.size(), 1U) << drift.boundary;
}

ComparedRun compared(const drumlin::Run& run) {
  ComparedRun out{run.record.gauge, run.record.result, {}, 1e-6, 10, ""};
  for (const Window& window : run.record.gauge.windows) out.shown.push_back(window.cue);
  return out;
}

TEST(PressedComparison, ComparesTheUnitAsItWasSet) {
  for (const ComparisonItem& item : compare(compared(passing()), compared(passing())).items)
    EXPECT_NE(item.word, ChangeWord::unintended) << item.what << item.boundary;
}

std::vector<ComparisonItem> items_at(const Comparison& comparison, const std::string& place) {
  std::vector<ComparisonItem> all;
  for (const ComparisonItem& item : comparison.items)
    if (item.boundary == place) all.push_back(item);
  return all;
}

TEST(PressedComparison, HasARowForWhatTheUnitMadeOfEachPress) {
  const Comparison same = compare(compared(passing()), compared(passing()));
  std::vector<std::string> rows;
  for (const char* place : {"set 1", "set 2", "glow 1", "glow 2", "power 1"})
    for (const ComparisonItem& item : items_at(same, place)) {
      rows.push_back(item.what + " " + place);
      EXPECT_EQ(item.word, ChangeWord::as_intended) << item.what << " " << place << " " << item.remark;
    }
  EXPECT_THAT(rows, testing::IsSupersetOf({"taken rpm set 1", "refused set 1", "refused set 2",
                                           "light glow 1", "light glow 2", "boot power 1"}));
  EXPECT_THAT(rows, Not(testing::Contains("taken rpm set 2"))) << "what is refused is not taken";
  const Comparison worse = compare(compared(passing()), compared(failing()));
  for (const ComparisonItem& item : items_at(worse, "set 1"))
    if (item.what == "refused") {
      EXPECT_EQ(item.word, ChangeWord::unintended);
      EXPECT_EQ(item.remark, "the unit did not take the rpm in the new run");
    }
  // The other way round it is mended, and still no pass hides what the new run does.
  EXPECT_EQ(compare(compared(failing()), compared(passing())).verdict, Verdict::fail);
}

TEST(PressedComparison, ATakeThatIsOffIsMeasured) {
  test::PressedUnit unit;
  unit.takes_off_by = -40;
  const drumlin::Run off = pressed::run_of(pressed::everything(), unit);
  const Comparison moved = compare(compared(passing()), compared(off));
  for (const ComparisonItem& item : items_at(moved, "set 1"))
    if (item.what == "taken rpm") {
      EXPECT_EQ(item.word, ChangeWord::unintended);
      EXPECT_NEAR(item.observed_change, -40, 3);
    }
  EXPECT_EQ(moved.verdict, Verdict::fail);
}

TEST(PressedComparison, APressThatTheOtherRunLacksIsNoPass) {
  drumlin::Run less = passing();
  less.record.result.presses.pop_back();
  const Comparison comparison = compare(compared(passing()), compared(less));
  const std::vector<ComparisonItem> rows = items_at(comparison, "set 2");
  ASSERT_EQ(rows.size(), 1U);
  EXPECT_EQ(rows[0].word, ChangeWord::cannot_tell);
  EXPECT_NE(comparison.verdict, Verdict::pass);
}

// Its boundaries as set are as they were: only the rows after the press tell.
TEST(PressedComparison, NeverPassesAUnitThatFailsAfterAPress) {
  EXPECT_EQ(compare(compared(passing()), compared(failing())).verdict, Verdict::fail);
  drumlin::Run late = passing();
  for (BoundaryResult& row : late.record.result.boundaries)
    if (!row.state.empty() && row.boundary == "beyond") row.verdict = Verdict::fail;
  late.record.result.findings.push_back({FindingKind::late, ns_per_s, "beyond", "", "late (after set 1)"});
  late.record.result.verdict = Verdict::fail;
  EXPECT_NE(compare(compared(passing()), compared(late)).verdict, Verdict::pass);
  for (BoundaryResult& row : late.record.result.boundaries)
    if (row.verdict == Verdict::fail) row.verdict = Verdict::undecided;
  late.record.result.findings.clear();
  late.record.result.verdict = Verdict::undecided;
  EXPECT_NE(compare(compared(passing()), compared(late)).verdict, Verdict::pass);
}

}  // namespace
}  // namespace tachproof

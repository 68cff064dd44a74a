// What a suite says: text, JSON, JUnit and page.
#include "bench/reports/run_report.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <regex>
#include <set>
#include <sstream>

#include "bench/record/text.h"
#include "bench/run/suite.h"
#include "tests/bench/approved.h"
#include "tests/bench/junit_rules.h"
#include "tests/bench/scripted_suite.h"

namespace tachproof {
namespace {

using test::pair_of, test::suite_of, test::sum;
using testing::HasSubstr;
using testing::Not;

// One pair of every outcome.
SuiteRecord all_outcomes() {
  SuiteRecord record;
  const auto attempt = [](const std::string& folder, Verdict verdict, bool complete,
                          const std::string& reason) {
    Attempt a;
    a.folder = folder;
    a.verdict = verdict;
    a.complete = complete;
    a.bench_could_not_tell = !complete;
    a.started = "2031-03-14T09:26:53+01:00";
    a.duration_s = 42.5;
    a.transitions = 18;
    a.reason = reason;
    a.result_sha256 = sum('1');
    return a;
  };
  const Attempt good = attempt("kame/idle", Verdict::pass, true, "Nothing wrong was seen in 42.500 s.");
  Attempt late =
      attempt("kame/lane", Verdict::fail, true,
              "boundary lane, rising: seen at 3462.1 rpm, -57.9 rpm from 3520.0; allowed -3.0 to 10.2 rpm.");
  late.findings = {{"early", 3}, {"wrong-cue", 1}};
  const Attempt lost = attempt("kame/peak", Verdict::undecided, false, "The board was lost at 12.5 s.");
  record = suite_of({pair_of("kame", "idle"), pair_of("kame", "lane"), pair_of("kame", "peak"),
                     pair_of("esker", "idle"), pair_of("esker", "lane"), pair_of("esker", "peak"),
                     pair_of("esker", "quick"), pair_of("esker", "slow")});
  std::vector<SuitePair>& pairs = record.pairs;
  pairs[0].attempts = {good};
  pairs[0].attempts[0].reused = true;
  pairs[1].attempts = {late};
  pairs[2].attempts = {lost, attempt("kame/peak@2", Verdict::pass, true, good.reason)};
  pairs[3].attempts = {attempt("esker/idle", Verdict::fail, true, late.reason),
                       attempt("esker/idle@2", Verdict::pass, true, good.reason)};
  pairs[4].attempts = {lost};
  pairs[4].attempts[0].folder.clear();
  pairs[5].skipped_because =
      "scenarios/peak.yaml presses 'capture', which the source of rig.yaml cannot press";
  pairs[7].shard = 2;
  pairs[1].set_aside = {"kame/lane"};
  record.shards = 2;
  record.plan_sha256 = sum('d');
  record.retry = {1, true};
  record.notes = {"A note."};
  return record;
}

TEST(SuiteReports, ReadAsApproved) {
  const SuiteRecord record = all_outcomes();
  expect_approved("suite.json", suite_json(record));
  expect_approved("suite.xml", suite_junit(record));
  std::string text = suite_head(record, 80);
  for (const SuitePair& pair : record.pairs) text += suite_row(record, pair, 80, false);
  expect_approved("suite.txt", text + suite_end(record, 80, false));
}

TEST(SuiteReports, ReadBackFromJsonAsTheyWere) {
  const std::string text = suite_json(all_outcomes());
  EXPECT_EQ(suite_json(suite_from_json(text)), text);
  EXPECT_THROW(suite_from_json(text.substr(0, text.size() / 2)), std::runtime_error);
  EXPECT_THROW(suite_from_json("{\"format\": 2}"), std::runtime_error);
  EXPECT_THROW(suite_from_json("[]"), std::runtime_error);
}

TEST(SuiteReports, KeepTheRulesOfJunitAndTellEachPairByItsName) {
  SuiteRecord record = all_outcomes();
  if (there_is_xmllint()) expect_valid_junit(suite_junit(record));
  record.pairs[1].attempts[0].reason = "<&>\"\x01\xff";
  record.pairs[5].skipped_because = "]]>";
  const std::string xml = suite_junit(record);
  if (there_is_xmllint()) expect_valid_junit(xml);
  std::set<std::string> names;
  std::size_t cases = 0;
  const std::regex name("<testcase name=\"([^\"]*)\" classname=\"([^\"]*)\"");
  for (auto i = std::sregex_iterator(xml.begin(), xml.end(), name); i != std::sregex_iterator(); ++i, ++cases)
    names.insert((*i)[2].str() + "/" + (*i)[1].str());
  EXPECT_EQ(cases, 8u);  // seven pairs of this shard and the verdict
  EXPECT_EQ(names.size(), cases);
  EXPECT_THAT(xml, HasSubstr("<testsuites tests=\"8\" failures=\"3\" errors=\"2\""));
}

TEST(SuiteReports, FitOn80ColumnsWhateverTheNames) {
  SuiteRecord record = all_outcomes();
  for (SuitePair& pair : record.pairs) {
    pair.gauge = std::string(60, 'g');
    pair.scenario = std::string(90, 's');
    pair.skipped_because = pair.skipped_because.empty() ? "" : std::string(300, 'w');
  }
  std::string text = suite_head(record, 80) + suite_end(record, 80, false);
  for (const SuitePair& pair : record.pairs) text += suite_row(record, pair, 80, false);
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(code_points(line), 80u) << line;
}

TEST(SuiteReports, LinkToEveryAttempt) {
  SuiteRecord record = all_outcomes();
  record.pairs[0].attempts[0].folder = "a b/#1/kame/idle";
  const std::string html = suite_html(record);
  for (const char* link :
       {"a%20b/%231/kame/idle/", "kame/lane/", "kame/peak/", "kame/peak@2/", "esker/idle/"})
    EXPECT_THAT(html, HasSubstr("<a href=\"" + std::string(link) + "report.html\">"));
  EXPECT_THAT(html, Not(HasSubstr("<script")));
}

}  // namespace
}  // namespace tachproof

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <regex>
#include <set>

#include "bench/reports/run_report.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"
#include "tests/bench/junit_rules.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::Not;

std::size_t count(const std::string& text, const std::string& what) {
  std::size_t n = 0;
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++n;
  return n;
}

TEST(Junit, ReadsAsApproved) {
  expect_approved("junit-fail.xml", junit_xml(without_volatile(drumlin::failing().record)));
  expect_approved("junit-undecided.xml", junit_xml(without_volatile(drumlin::undecided().record)));
}

TEST(Junit, KeepsTheRulesOfTheCommonSchemas) {
  if (!there_is_xmllint()) GTEST_SKIP() << "xmllint is not installed";
  for (const drumlin::Run& run :
       {drumlin::passing(), drumlin::failing(), drumlin::undecided(), drumlin::small()})
    expect_valid_junit(junit_xml(run.record));
  expect_valid_junit(junit_xml(RunRecord{}));
}

TEST(Junit, KeepsThemWithTextsThatXmlForbids) {
  if (!there_is_xmllint()) GTEST_SKIP() << "xmllint is not installed";
  RunRecord record = drumlin::failing().record;
  std::string every_byte;
  for (int c = 0; c < 256; ++c) every_byte += static_cast<char>(c);
  record.gauge_name = "<b>&\"'" + every_byte;
  record.unit_serial = "]]>" + every_byte;
  record.result.findings[0].message = every_byte;
  record.result.answers[0].question = every_byte;
  // Two names that are the same once cleaned, and one that looks like a visit.
  record.result.answers.push_back(record.result.answers[0]);
  record.result.answers[1].question += "\x01";
  record.result.transitions[3].boundary = "closing\x02";
  expect_valid_junit(junit_xml(record));
}

TEST(Junit, APassHasNeitherFailureNorError) {
  const std::string xml = junit_xml(drumlin::passing().record);
  EXPECT_THAT(xml, HasSubstr("tests=\"43\" failures=\"0\" errors=\"0\" skipped=\"0\" time=\"88.667\""));
  EXPECT_EQ(count(xml, "<testcase "),
            43u);  // 20 transitions, 18 boundaries, blink, flicker, answer, steady, verdict
  EXPECT_THAT(xml, Not(HasSubstr("<failure")));
  EXPECT_THAT(xml, Not(HasSubstr("<error")));
}

TEST(Junit, WhatCouldNotBeToldIsAnError) {
  const std::string xml = junit_xml(drumlin::undecided().record);
  EXPECT_THAT(xml,
              HasSubstr("failures=\"0\" errors=\"22\""));  // 11 transitions, 9 boundaries, steady, verdict
  EXPECT_EQ(count(xml, "<error "), 22u);
}

TEST(Junit, ARunThatIsNoPassIsNeverGreen) {
  for (const Verdict v : {Verdict::fail, Verdict::undecided}) {
    RunRecord record = drumlin::passing().record;
    record.result.verdict = v;
    EXPECT_THAT(junit_xml(record), HasSubstr(v == Verdict::fail ? "failures=\"1\" errors=\"0\""
                                                                : "failures=\"0\" errors=\"1\""));
  }
  RunRecord cut_short = drumlin::passing().record;
  cut_short.result.complete = false;
  EXPECT_THAT(junit_xml(cut_short), HasSubstr("failures=\"0\" errors=\"2\""));
  EXPECT_THAT(junit_xml(RunRecord{}), HasSubstr("tests=\"2\" failures=\"0\" errors=\"2\""));
}

TEST(Junit, NamesDoNotChangeWithWhatWasMeasured) {
  const auto names = [](const std::string& xml) {
    std::set<std::string> all;
    const std::regex name("<testcase name=\"([^\"]*)\"");
    for (auto i = std::sregex_iterator(xml.begin(), xml.end(), name); i != std::sregex_iterator(); ++i)
      all.insert((*i)[1]);
    return all;
  };
  EXPECT_EQ(names(junit_xml(drumlin::passing().record)), names(junit_xml(drumlin::failing().record)));
}

}  // namespace
}  // namespace tachproof

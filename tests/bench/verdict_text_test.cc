#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <sstream>

#include "bench/record/text.h"
#include "bench/reports/run_report.h"
#include "tests/bench/approved.h"
#include "tests/bench/drumlin_run.h"

namespace tachproof {
namespace {

using testing::EndsWith;
using testing::HasSubstr;
using testing::Not;

TEST(VerdictText, ReadsAsApproved) {
  expect_approved("verdict-pass.txt", verdict_text(drumlin::passing().record, 80, false));
  expect_approved("verdict-fail.txt", verdict_text(drumlin::failing().record, 80, false));
  expect_approved("verdict-undecided.txt", verdict_text(drumlin::undecided().record, 80, false));
}

TEST(VerdictText, EndsWithTheVerdictAndWhy) {
  EXPECT_THAT(verdict_text(drumlin::passing().record, 80, false),
              EndsWith("\nPASS: All 20 expected transitions were seen within what is allowed, and nothing\n"
                       "was found amiss.\n"));
  EXPECT_THAT(verdict_text(drumlin::undecided().record, 80, false),
              EndsWith("\nUNDECIDED: The watcher was lost at 44.333 s.\n"));
}

TEST(VerdictText, SaysWhyWithoutAFinding) {
  RunRecord record = drumlin::undecided().record;
  record.result.findings.clear();
  EXPECT_THAT(verdict_text(record, 80, false),
              EndsWith("\nUNDECIDED: The run did not get to its end, so the bench cannot tell.\n"));
  record.result.complete = true;
  EXPECT_THAT(verdict_text(record, 80, false),
              HasSubstr("\nUNDECIDED: Not decided: 11 of 20 transitions and 9 of 18 thresholds. Boundary\n"));
  record = drumlin::failing().record;
  record.result.findings.clear();
  EXPECT_THAT(verdict_text(record, 80, false),
              EndsWith("\nFAIL: Outside of what is allowed: 1 of 20 transitions and 1 of 18 thresholds.\n"));
}

TEST(VerdictText, ColoursOnlyWhenAsked) {
  EXPECT_THAT(verdict_text(drumlin::failing().record, 80, false), Not(HasSubstr("\x1b")));
  EXPECT_THAT(verdict_text(drumlin::failing().record, 80, true), HasSubstr("\x1b[1;31mFAIL\x1b[0m: "));
}

TEST(VerdictText, IsPlainAsciiWhenTheNamesAre) {
  for (const drumlin::Run& run : {drumlin::passing(), drumlin::failing(), drumlin::undecided()})
    for (const char c : verdict_text(run.record, 80, false)) EXPECT_LT(static_cast<unsigned char>(c), 0x80);
}

RC_GTEST_PROP(VerdictText, KeepsToItsWidthAndObeysNoName, ()) {
  RunRecord record = drumlin::failing().record;
  const auto name = rc::gen::arbitrary<std::string>();
  record.gauge_name = *name + "\x1b]0;title\x07";
  record.unit_serial = *name;
  record.result.findings[0].message = *name;
  record.result.findings[0].lamp = *name;
  record.result.boundaries[0].boundary = record.result.transitions[0].boundary = *name;
  record.result.blinks[0].lamp = *name;
  record.result.answers[0].answer = *name;
  std::istringstream lines(verdict_text(record, 80, false));
  for (std::string line; std::getline(lines, line);) {
    RC_ASSERT(code_points(line) <= 80u);
    RC_ASSERT(printable(line) == line);
  }
}

}  // namespace
}  // namespace tachproof

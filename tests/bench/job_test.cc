// Jobs: what an operator picks. How the file is read is in cases/job.cases.
#include "bench/files/job.h"

#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>

#include "bench/commands/job_run.h"
#include "bench/files/errors.h"
#include "tests/bench/error_of.h"
#include "tests/bench/files_cases.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::StartsWith;

Job wanting(const std::string& pattern) {
  Job job;
  job.serial_pattern = pattern;
  return job;
}

std::string why_not(const std::string& pattern, const std::string& serial) {
  return wrong_serial(wanting(pattern), serial).value_or("");
}

TEST(Job, NamesItsFilesFromItsOwnFolder) {
  std::string bytes;
  const std::string file = source_path("fixtures/jobs/drumlin-thorough.yaml");
  const Job job = load_job(file, &bytes);
  EXPECT_EQ(job.name, "Drumlin, acceptance and survey");
  EXPECT_EQ(job.gauge, source_path("fixtures/jobs/../gauges/drumlin.yaml"));
  EXPECT_EQ(job.rig, source_path("fixtures/jobs/../rigs/simulated.yaml"));
  EXPECT_EQ(job.certificate, source_path("fixtures/jobs/../certificates/corrie.yaml"));
  ASSERT_EQ(job.play.size(), 2U);
  EXPECT_EQ(job.play[0].what, JobPlay::What::scenario);
  EXPECT_EQ(job.play[0].file, source_path("fixtures/jobs/../../scenarios/acceptance.yaml"));
  EXPECT_EQ(job.play[1].what, JobPlay::What::survey);
  EXPECT_EQ(job.play[1].within_rpm, 1);
  EXPECT_THAT(bytes, StartsWith("format: 1\nkind: job\n"));
}

TEST(Job, TakesTheSerialNumbersOfItsPatternAndNoOther) {
  EXPECT_EQ(why_not("DR-[0-9]{4}", "DR-0417"), "");
  EXPECT_EQ(why_not("DR-[0-9]{4}", "DR-041"),
            "'DR-041' is no serial number of this job; one looks like DR-[0-9]{4}");
  EXPECT_EQ(why_not("DR-[0-9]{4}", "xDR-0417"),
            "'xDR-0417' is no serial number of this job; one looks like DR-[0-9]{4}");
  EXPECT_EQ(why_not("DR-[0-9]{4}", ""), "this job wants a serial number like DR-[0-9]{4}");
  EXPECT_EQ(why_not("DR-[0-9]{4}", "DR-\x1b[2J\n"),
            "'DR-\\x1b[2J\\n' is no serial number of this job; one looks like DR-[0-9]{4}");
  EXPECT_EQ(why_not("DR\x1b[0-9]{4}", ""), "this job wants a serial number like DR\\x1b[0-9]{4}");
  EXPECT_EQ(why_not("DR\x1b[0-9]{4}", "DR"),
            "'DR' is no serial number of this job; one looks like DR\\x1b[0-9]{4}");
}

TEST(Job, WithoutAPatternTakesAnySerialNumberOrNone) {
  EXPECT_EQ(why_not("", ""), "");
  EXPECT_EQ(why_not("", "anything at all"), "");
  EXPECT_EQ(why_not("", std::string(100, 'x')), "");
  EXPECT_EQ(why_not("", std::string(101, 'x')),
            "the serial number has 101 characters; at most 100 are allowed");
}

// A matcher that tries one way after the other never comes back from these.
TEST(Job, AnswersAPatternThatHasManyWaysToMatch) {
  const std::string serial(longest_serial, 'a');
  for (const char* pattern : {"(a*)*b", "(a|a)*b", "((a?)*)*b", "(a{0,9}){0,99}b", "(a|aa|aaa)*(a|aa)*b",
                              "(?=(a*)*b)a*", "(.*.*.*.*.*.*.*.*.*.*){9}b"})
    EXPECT_NE(why_not(pattern, serial), "") << pattern;
  EXPECT_EQ(why_not("(a*)*", serial), "");
}

RC_GTEST_PROP(Job, AnswersEverySerialNumberWithOneLine, (const std::string& serial)) {
  const std::string why = why_not("[A-Z]{2}-[0-9]+(/[a-f]*)?", serial);
  RC_ASSERT(why.find('\n') == std::string::npos);
  RC_ASSERT(why.find('\x1b') == std::string::npos);
}

TEST(JobInput, HasTheErrorsOfAllItsFiles) {
  const ScratchFolder scratch;
  scratch.write("gauge.yaml", "format: 1\nkind: gauge\nnam: x\n");
  scratch.write("rig.yaml", "format: 1\nkind: rig\nsorce: {kind: simulated}\n");
  scratch.write("scenario.yaml", "format: 1\nkind: scenario\nnam: x\n");
  const std::string job = scratch.write("job.yaml",
                                        "format: 1\nkind: job\nname: All wrong\ngauge: gauge.yaml\n"
                                        "play: [scenario.yaml]\nrig: rig.yaml\n");
  const std::string error = error_of([&] { load_job_input(job); });
  for (const char* file : {"gauge.yaml:3:1: ", "rig.yaml:3:1: ", "scenario.yaml:3:1: "})
    EXPECT_THAT(error, ::testing::HasSubstr(file)) << error;
}

TEST(JobInput, ReadsWhatTheJobPlaysInItsOrder) {
  const JobInput thorough = load_job_input(source_path("fixtures/jobs/drumlin-thorough.yaml"));
  EXPECT_THAT(names_of(thorough), ElementsAre("acceptance", "survey"));
  EXPECT_EQ(thorough.scenarios.size(), 1U);
  const JobInput planned = load_job_input(source_path("fixtures/jobs/drumlin-plan.yaml"));
  EXPECT_THAT(names_of(planned), ElementsAre("plan"));
  EXPECT_THAT(planned.scenarios, IsEmpty());
  EXPECT_FALSE(planned.plan.has_value());
}

TEST(JobInput, IsUndecidedWhileAPartWasNotPlayed) {
  JobInput job;
  job.job.play.resize(2);
  EXPECT_EQ(verdict_of(job, {}), Verdict::undecided);
}

}  // namespace
}  // namespace tachproof

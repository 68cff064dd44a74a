#include "core/judge/findings.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace tachproof {
namespace {

using testing::HasSubstr;

Finding wrong_cue(Nanos at, const std::string& lamp = "left") {
  return {FindingKind::wrong_cue, at, "near", lamp, "at " + std::to_string(at)};
}

TEST(Findings, AlikeOnesAreThreeLinesAndACount) {
  FindingLog log;
  for (Nanos at = 0; at < 1000; ++at) log.add(wrong_cue(at));
  std::uint64_t left_out = 0;
  const std::vector<Finding> kept = log.take(left_out);
  ASSERT_EQ(kept.size(), FindingLog::max_alike);
  EXPECT_EQ(left_out, 1000 - FindingLog::max_alike);
  EXPECT_THAT(kept.back().message, HasSubstr("and 997 more like it"));
  EXPECT_EQ(kept.front().message, "at 0");
}

TEST(Findings, OtherLampsWindowsAndKindsAreCountedApart) {
  FindingLog log;
  for (int i = 0; i < 4; ++i)
    for (const char* lamp : {"left", "right"}) log.add(wrong_cue(i, lamp));
  std::uint64_t left_out = 0;
  EXPECT_EQ(log.take(left_out).size(), 2 * FindingLog::max_alike);
  EXPECT_EQ(left_out, 2U);
}

TEST(Findings, ComeInTheOrderOfTime) {
  FindingLog log;
  log.add(wrong_cue(30));
  log.add(wrong_cue(10, "right"));
  log.add({FindingKind::lost_evidence, 20, "", "", "a frame"});
  std::uint64_t left_out = 0;
  std::vector<Nanos> at;
  for (const Finding& f : log.take(left_out)) at.push_back(f.at);
  EXPECT_THAT(at, testing::ElementsAre(10, 20, 30));
}

TEST(Findings, WhatIsLeftOutStillCountsForTheVerdict) {
  FindingLog log;
  EXPECT_EQ(log.verdict(), Verdict::pass);
  for (std::size_t i = 0; i < FindingLog::max_all; ++i)
    log.add({FindingKind::lost_evidence, 0, "window " + std::to_string(i), "", "lost"});
  EXPECT_EQ(log.verdict(), Verdict::undecided);
  log.add(wrong_cue(1));
  EXPECT_EQ(log.verdict(), Verdict::fail);
  EXPECT_TRUE(log.any(FindingKind::wrong_cue));
  EXPECT_FALSE(log.any(FindingKind::flicker));
  std::uint64_t left_out = 0;
  EXPECT_EQ(log.take(left_out).size(), FindingLog::max_all);
  EXPECT_EQ(left_out, 1U);
}

}  // namespace
}  // namespace tachproof

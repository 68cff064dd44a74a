// tachproof deadband and tachproof noise, as a person runs them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "bench/formats/recording.h"
#include "core/signal/pulse_train.h"
#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::HasSubstr;
using testing::IsEmpty;

class DeadbandProgram : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("noise.yaml", "format: 1\nkind: noise\njitter_us: 10\nwander_rpm: 2\nwander_s: 0.4\n");
  }

  Finished tachproof(const std::string& words) { return run_process(command_line(words), scratch.path()); }

  // 30 s at 3000 rpm with two pulses a revolution.
  std::vector<Nanos> recorded() {
    Noise noise;
    noise.jitter_us = 30;
    noise.wander_rpm = 4;
    noise.wander_s = 0.3;
    const std::vector<Step> steps = {Hold{3000, 60 * ns_per_s}};
    const Profile profile(steps);
    PulseTrain train(profile, 2, noise, 4);
    std::vector<Nanos> edges(10'000);
    edges.resize(train.next(edges));
    return edges;
  }

  ScratchFolder scratch;
};

TEST_F(DeadbandProgram, RecommendsAWidthAndWritesThePage) {
  const Finished done = tachproof("deadband --gauge gauge.yaml --noise noise.yaml --html page.html --json");
  EXPECT_EQ(done.status, 0) << done.err;
  const json out = json::parse(done.out);
  EXPECT_GT(out["recommended_rpm"], 2);
  EXPECT_LT(out["recommended_rpm"], 40);
  EXPECT_EQ(out["limit_per_min"], 1);
  std::ostringstream page;
  page << std::ifstream(scratch / "page.html").rdbuf();
  EXPECT_THAT(page.str(), HasSubstr("</html>"));
}

TEST_F(DeadbandProgram, SaysTheSameOnAnyNumberOfThreads) {
  const std::string words = "deadband --gauge gauge.yaml --noise noise.yaml --minutes 200 --threads ";
  EXPECT_EQ(tachproof(words + "1").out, tachproof(words + "3").out);
}

TEST_F(DeadbandProgram, EndsWithThreeWhereNoWidthHolds) {
  scratch.write("bad.yaml", "format: 1\nkind: noise\nmissing: 0.01\n");
  const Finished done = tachproof("deadband --gauge gauge.yaml --noise bad.yaml");
  EXPECT_EQ(done.status, 3) << done.err;
  EXPECT_THAT(done.out, HasSubstr("No deadband keeps"));
}

TEST_F(DeadbandProgram, RefusesWhatMakesNoSense) {
  const std::vector<std::pair<std::string, std::string>> lines = {
      {"--limit 0", "--limit is '0'; a number above 0, at most 10000"},
      {"--confidence 1", "--confidence is '1'; a number above 0.5, at most 0.9999"},
      {"--gear 1.5", "--gear, --final-drive and --tyre-circumference go together"},
  };
  for (const auto& [words, line] : lines) {
    const Finished done = tachproof("deadband --gauge gauge.yaml --noise noise.yaml " + words);
    EXPECT_EQ(done.status, 2) << words;
    EXPECT_EQ(done.err, "tachproof deadband: " + line + "\n");
  }
}

TEST_F(DeadbandProgram, FitsARecordingOfEitherKindAndReadsTheModelBack) {
  const std::vector<Nanos> edges = recorded();
  {
    VcdWriter vcd(scratch / "tach.vcd", {"tach"});
    std::ofstream times(scratch / "times.txt");
    times << "time\n";
    times.precision(12);
    for (const Nanos edge : edges) {
      times << to_seconds(edge) << "\n";
      vcd.change(edge, 0, true);
      vcd.change(edge + 2 * ns_per_ms, 0, false);
    }
    vcd.close(edges.back() + 3 * ns_per_ms);
  }
  for (const std::string file : {"tach.vcd", "times.txt"}) {
    const Finished fitted = tachproof("noise " + file + " --ppr 2 --html noise.html");
    EXPECT_EQ(fitted.status, 0) << file << fitted.out << fitted.err;
    scratch.write("fitted.yaml", fitted.out);
    EXPECT_EQ(tachproof("check fitted.yaml").status, 0);
    const json out = json::parse(tachproof("noise " + file + " --ppr 2 --json").out);
    EXPECT_NEAR(out["jitter_us"], 30, 3);
    EXPECT_NEAR(out["wander_rpm"], 4, 1.2);
    EXPECT_EQ(out["fits"], true);
    const Finished replayed = tachproof("deadband --gauge gauge.yaml --noise " + file + " --limit 60");
    EXPECT_TRUE(replayed.status == 0 || replayed.status == 3) << replayed.err;
    EXPECT_THAT(replayed.err, IsEmpty());
  }
}

TEST_F(DeadbandProgram, SaysThatARecordingIsTooShort) {
  scratch.write("short.txt", "0.00\n0.01\n0.02\n");
  const Finished done = tachproof("noise short.txt --ppr 2");
  EXPECT_EQ(done.status, 3);
  EXPECT_THAT(done.out, HasSubstr("too short: 3 pulses"));
}

}  // namespace
}  // namespace tachproof

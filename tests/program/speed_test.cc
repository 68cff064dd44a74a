// `tachproof speed`: its words, its numbers and its refusals.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "tests/program/process.h"

namespace tachproof {
namespace {

using nlohmann::json;
using testing::HasSubstr;

Finished speed(const std::string& words) { return run_process(command_line("speed " + words), "/"); }

json speed_json(const std::string& words) {
  const Finished done = speed(words + " --json");
  EXPECT_EQ(done.status, 0) << done.err;
  return json::parse(done.out);
}

const std::string gearing = " --gear 0.794 --final-drive 3.692 ";

// the370z.com/305607-post5.html: 73 mph with a circumference of 6.96 ft is
// 2706 rpm (2705.69), and 3000 rpm is 80.9 mph (80.9405).
TEST(SpeedCommand, AgreesWithAPublishedExampleBothWays) {
  const std::string tyre = "--tyre-circumference 6.96ft";
  EXPECT_NEAR(speed_json("--limit 73mph" + gearing + tyre)["rpm"], 2705.69, 5e-3);
  EXPECT_NEAR(speed_json("--rpm 3000" + gearing + tyre)["speed_kmh"], 80.9405 * 1.609344, 1e-4);
}

TEST(SpeedCommand, TakesTheMarginOffTheLimitAndRoundsTheAnchorDown) {
  const json out =
      speed_json("--limit 60km/h --margin 2km/h --gear 1.54 --final-drive 3.9 --rollout 10.1m/5");
  // 58 km/h over 2.02 m a turn, by hand: 58000/60/2.02 * 1.54 * 3.9.
  const double rpm = 58000.0 / 60 / 2.02 * 1.54 * 3.9;
  EXPECT_NEAR(out["rpm"], rpm, 1e-9);
  EXPECT_EQ(out["anchor_rpm"], std::floor(rpm));
  EXPECT_NEAR(out["speed_kmh"], 58, 1e-9);
}

TEST(SpeedCommand, AllWaysToSayATyreAgree) {
  const double by_inch = speed_json("--limit 20m/s" + gearing + "--tyre-diameter 25in")["rpm"];
  const double by_mm = speed_json("--limit 20m/s" + gearing + "--tyre-diameter 635mm")["rpm"];
  const double by_m = speed_json("--limit 72km/h" + gearing + "--tyre-diameter 0.635m")["rpm"];
  EXPECT_NEAR(by_mm, by_inch, 1e-9);
  EXPECT_NEAR(by_m, by_inch, 1e-9);
}

TEST(SpeedCommand, CombinesTheUncertaintiesOfTyreAndGauge) {
  const json out = speed_json(
      "--limit 60km/h --gear 1.54 --final-drive 3.9 --tyre-circumference 2m "
      "--tyre-uncertainty 20mm --gauge-uncertainty 4rpm");
  const double rpm = out["rpm"];
  EXPECT_NEAR(out["expanded_uncertainty_rpm"], std::hypot(rpm * 0.01, 4), 1e-9);
}

TEST(SpeedCommand, AnAnchorThatIsAWholeRpmStaysIt) {
  // 1 m a turn, ratio 1: 62 m/s is 3720 rpm.
  const Finished done = speed("--limit 62m/s --gear 1 --final-drive 1 --tyre-circumference 1m");
  EXPECT_THAT(done.out, HasSubstr("Set the anchor to 3720 rpm\n"));
  EXPECT_THAT(done.out, HasSubstr("  62.000 m/s"));
  EXPECT_THAT(done.out, HasSubstr(" 223.200 km/h"));
}

TEST(SpeedCommand, RefusesNonsenseWithOneLine) {
  const std::string tyre = "--tyre-diameter 25in";
  const std::string limit = "--limit 60km/h";
  const std::vector<std::pair<std::string, std::string>> lines = {
      {gearing + tyre, "give either --limit or --rpm"},
      {limit + " --rpm 3000" + gearing + tyre, "give either --limit or --rpm"},
      {limit + gearing, "give one of --tyre-diameter, --tyre-circumference and --rollout"},
      {limit + gearing + tyre + " --rollout 10m/5",
       "give one of --tyre-diameter, --tyre-circumference and --rollout"},
      {"--limit 60" + gearing + tyre, "--limit is '60'; allowed is a speed such as 60km/h, 45mph or 20m/s"},
      {"--limit nankm/h" + gearing + tyre,
       "--limit is 'nankm/h'; allowed is a speed such as 60km/h, 45mph or 20m/s"},
      {"--limit 0km/h" + gearing + tyre, "--limit must be above 0"},
      {limit + " --margin 60km/h" + gearing + tyre, "--margin must be smaller than --limit"},
      {limit + " --gear 0 --final-drive 3.9 " + tyre, "--gear must be above 0"},
      {limit + gearing + "--tyre-diameter 25",
       "--tyre-diameter is '25'; allowed is a length such as 635mm, 63.5cm, 0.635m, 25in or 2ft"},
      {limit + gearing + "--rollout 10m",
       "--rollout is '10m'; allowed is a length and turns, such as 10.1m/5"},
      {limit + gearing + "--rollout 10m/0", "--rollout's turns must be above 0"},
      {limit + gearing + tyre + " --tyre-uncertainty 25in",
       "--tyre-uncertainty must be smaller than --tyre-diameter"},
      {"--rpm 3000 --margin 2km/h" + gearing + tyre, "--margin goes with --limit"},
  };
  for (const auto& [words, line] : lines) {
    const Finished done = speed(words);
    EXPECT_EQ(done.status, 2) << words;
    EXPECT_EQ(done.err, "tachproof speed: " + line + "\n") << words;
  }
}

}  // namespace
}  // namespace tachproof

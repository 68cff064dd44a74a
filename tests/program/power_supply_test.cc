// The program and a power supply beside a signal generator, both simulated behind sockets, in real time: so
// only what does not depend on the machine's load is expected.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <chrono>
#include <csignal>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <thread>

#include "tests/bench/scratch_folder.h"
#include "tests/bench/simulated_generator.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

class ProgramWithPowerSupply : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge + "supply: {from: 9V, to: 16V}\n");
    scratch.write("endless.yaml", files::endless_scenario);
    scratch.write(
        "rig.yaml",
        "format: 1\nkind: rig\nsource: {kind: scpi, address: \"" + generator.address() +
            "\", amplitude_v: 5, offset_v: 2.5, answer_ms: 50, settle_ms: 1}\nwatch: {kind: simulated, "
            "unit: gauge.yaml}\nsupply: {kind: scpi, address: \"" +
            supply.address() + "\", volts: 13.8V, limit_a: 2, answer_ms: 100, settle_ms: 50}\n");
  }
  static std::vector<std::string> run_words(const std::string& scenario) {
    return command_line("run " + scenario + " --gauge gauge.yaml --rig rig.yaml --no-history --out out");
  }
  std::string findings() const {
    std::ifstream in(scratch / "out" / "result.json");
    return nlohmann::json::parse(in)["findings"].dump();
  }

  ScratchFolder scratch;
  test::SimulatedGenerator generator{std::make_shared<test::VirtualClock>(), {}};
  test::SimulatedGenerator supply{std::make_shared<test::VirtualClock>(), test::power_supply_nature()};
};

class EverySignalWithASupply : public ProgramWithPowerSupply, public testing::WithParamInterface<int> {};

TEST_P(EverySignalWithASupply, EndsWithBothOutputsOff) {
  Process process(run_words("endless.yaml"), scratch.path());
  for (int i = 0; i < 3000 && !generator.output_on(); ++i)
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
  process.signal(GetParam());
  process.signal(SIGTERM);
  EXPECT_EQ(process.wait().status, 3);
  EXPECT_FALSE(generator.output_on());
  EXPECT_FALSE(supply.output_on());
  EXPECT_FALSE(supply.keys_locked());
  EXPECT_THAT(findings(), HasSubstr("output is off, confirmed"));
}

const int requests[] = {SIGINT, SIGTERM, SIGHUP, SIGTSTP, SIGABRT};
INSTANTIATE_TEST_SUITE_P(Some, EverySignalWithASupply, testing::ValuesIn(requests),
                         [](const auto& one) { return std::string(sigabbrev_np(one.param)); });

TEST_F(ProgramWithPowerSupply, AScenarioThatAsksForMoreIsRefusedAtItsLine) {
  scratch.write(
      "much.yaml",
      "format: 1\nkind: scenario\nname: much\nprofile:\n  - {hold: 2000, for: 1s}\n  - {supply: 12V, to: "
      "18V, for: 1s}\n");
  const Finished done = run_process(run_words("much.yaml"), scratch.path());
  EXPECT_EQ(done.status, 2);
  EXPECT_THAT(done.err, HasSubstr("much.yaml:6:5: a supply of 18 V; the gauge stands at most 16 V"));
  EXPECT_TRUE(supply.messages().empty());
  EXPECT_TRUE(generator.messages().empty());
  EXPECT_FALSE(std::filesystem::exists(scratch / "out"));
}

}  // namespace
}  // namespace tachproof

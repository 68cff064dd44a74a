// One read, one hash: what is kept of an input is what was read, whatever
// happened to the file since.
#include "bench/commands/inputs.h"

#include <gtest/gtest.h>

#include <filesystem>

#include "bench/record/disk.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

const std::string gauge_text =
    "format: 1\nkind: gauge\nname: two\npulses_per_rev: 2\nlamps: [{id: left, colours: [white]}]\n"
    "windows: [{name: below, from: 0, show: {}}, {name: above, from: 3000, show: {left: white}}]\n"
    "deadband: {rpm: 5, sits: below}\ntolerance: {rpm: 3, response_ms: {from: 0, to: 100}}\n";

class Inputs : public ::testing::Test {
 protected:
  RunFolder folder(const GaugeInput& gauge) {
    RunRecord begun;
    begun.gauge = gauge.gauge;
    return RunFolder::create(scratch_.path() / "run", begun);
  }

  ScratchFolder scratch_;
};

TEST_F(Inputs, AFileThatChangesAfterItWasReadChangesNothing) {
  const std::string file = scratch_.write("gauge.yaml", gauge_text);
  const GaugeInput input = load_gauge_input(file);
  scratch_.write("gauge.yaml", "format: 1\nkind: gauge\nname: another\n");
  RunFolder run = folder(input);
  const auto [name, sha256] = kept(run, input, "gauge.yaml");
  EXPECT_EQ(name, "gauge.yaml");
  EXPECT_EQ(input.gauge.name, "two");
  EXPECT_EQ(whole_file(run.path() / "gauge.yaml"), gauge_text);
  EXPECT_EQ(sha256, sha256_of(gauge_text));
  EXPECT_EQ(sha256_of_file(run.path() / "gauge.yaml"), sha256);
}

TEST_F(Inputs, AFileThatIsGoneAfterItWasReadIsKeptAllTheSame) {
  const std::string file = scratch_.write("gauge.yaml", gauge_text);
  const GaugeInput input = load_gauge_input(file);
  std::filesystem::remove(file);
  RunFolder run = folder(input);
  kept(run, input, "gauge.yaml");
  EXPECT_EQ(whole_file(run.path() / "gauge.yaml"), gauge_text);
}

TEST_F(Inputs, ARigThatIsInNoFileIsHashedAsItsText) {
  const RigInput rig = rig_input("clip.mkv", {}, "format: 1\n");
  EXPECT_EQ(rig.sha256, sha256_of("format: 1\n"));
}

}  // namespace
}  // namespace tachproof

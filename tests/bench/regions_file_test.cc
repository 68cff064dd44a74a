#include <gtest/gtest.h>

#include <string>

#include "bench/files/regions.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

// As a gauge file may call them.
TEST(RegionsFile, ReadsBackWhateverLampsAreCalled) {
  const ScratchFolder scratch;
  scratch.write("regions.yaml", R"(format: 1
kind: regions
frame: {width: 640, height: 480}
dial: {reference: dial.png, within: 12, patches: [[10, 10], [100, 10], [10, 100]]}
lamps:
  '6" ring \\ {left}':
    at: {x: 320, y: 200, radius: 10}
    dark: {core: [0.01, 0.01, 0.01], rim: [0.01, 0.01, 0.01]}
    colours:
      'cyan, "cold"': {core: [0.1, 0.4, 0.4], halo: [0.05, 0.2, 0.2], rim: 0.08}
)");
  const Regions regions = load_regions(scratch / "regions.yaml");
  EXPECT_EQ(regions.lamps.at(0).lamp, R"(6" ring \\ {left})");
  scratch.write("again.yaml", regions_text(regions));
  const Regions again = load_regions(scratch / "again.yaml");
  EXPECT_EQ(again.lamps.at(0).lamp, regions.lamps.at(0).lamp);
  EXPECT_EQ(again.lamps.at(0).colours, regions.lamps.at(0).colours);
}

}  // namespace
}  // namespace tachproof

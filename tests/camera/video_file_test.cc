// Pictures as codecs leave them. The colour bars' values are those of ITU-R
// BT.601-7 and BT.709-6 in 8 bits (table 3 of either, from memory), and of JFIF 1.02.
#include "bench/camera/video_file.h"

#include <gmock/gmock.h>

#include <fstream>

#include "bench/camera/region_sums.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using Bar = std::array<int, 3>;  // Y, Cb, Cr

struct Bars {
  const char* name;
  bool full_range, bt709;
  Bar white, red, green, blue;
};
constexpr Bar jpeg_white{255, 128, 128}, jpeg_red{76, 85, 255}, jpeg_green{150, 44, 21},
    jpeg_blue{29, 255, 107};

class ColourBars : public testing::TestWithParam<Bars> {};

TEST_P(ColourBars, AreTheColoursThatJpegHas) {
  const Bars& bars = GetParam();
  LampRegion region;
  region.x = region.y = 16;
  region.radius = 6;
  for (const int shift : {0, 1}) {  // 4:4:4, 4:2:0
    RegionSummer summer({region}, 32, 32);
    const auto seen = [&](const Bar& bar) {
      std::array<std::vector<std::uint8_t>, 3> bytes;
      Planes planes;
      planes.width = planes.height = 32;
      planes.chroma_right = planes.chroma_down = shift;
      planes.full_range = bars.full_range;
      planes.bt709 = bars.bt709;
      for (std::size_t i = 0; i < 3; ++i) {
        bytes[i].assign(32 * 32, static_cast<std::uint8_t>(bar[i]));
        planes.data[i] = bytes[i].data();
        planes.stride[i] = i == 0 ? 32 : 32 >> shift;
      }
      const PixelSums& sums = summer.of_planes(planes)[0].core;
      const auto mean = [&](std::uint64_t sum) {
        return static_cast<double>(sum) / static_cast<double>(sums.pixels);
      };
      return std::array{mean(sums.y), mean(sums.cb), mean(sums.cr)};
    };
    const auto expect_near = [](const std::array<double, 3>& is, const Bar& is_to_be) {
      for (std::size_t i = 0; i < 3; ++i) EXPECT_NEAR(is[i], is_to_be[i], 1.5) << i;
    };
    expect_near(seen(bars.white), jpeg_white);
    expect_near(seen(bars.red), jpeg_red);
    expect_near(seen(bars.green), jpeg_green);
    expect_near(seen(bars.blue), jpeg_blue);
  }
}

INSTANTIATE_TEST_SUITE_P(
    Of, ColourBars,
    testing::Values(
        Bars{"Bt601", false, false, {235, 128, 128}, {81, 90, 240}, {145, 54, 34}, {41, 240, 110}},
        Bars{"Bt709", false, true, {235, 128, 128}, {63, 102, 240}, {173, 42, 26}, {32, 240, 118}},
        Bars{"Jpeg", true, false, jpeg_white, jpeg_red, jpeg_green, jpeg_blue}),
    [](const auto& at) { return at.param.name; });

TEST(VideoFile, ThatIsNoneIsRefusedWithTheReason) {
  const ScratchFolder scratch;
  const std::string file = (scratch / "notes.mp4").string();
  std::ofstream(file) << "not a video, whatever its name says";
  SourceSettings settings;
  settings.from = file;
  try {
    open_video_file(settings);
    FAIL() << "was read";
  } catch (const CameraError& e) {
    EXPECT_THAT(e.what(), HasSubstr("cannot read the video " + file + ": "));
  }
}

}  // namespace
}  // namespace tachproof

// What the camera's program is made of, on pictures.
#include <gmock/gmock.h>

#include <array>
#include <cmath>
#include <cstdlib>

#include <jpeglib.h>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "bench/camera/region_sums.h"
#include "bench/camera/registration.h"
#include "bench/camera/repeated_frames.h"
#include "bench/files/regions.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

// Something to look at, with colours everywhere.
cv::Mat painting(int width, int height) {
  cv::Mat picture(height, width, CV_8UC3);
  cv::theRNG().state = 5;
  cv::randu(picture, 0, 255);
  cv::GaussianBlur(picture, picture, {}, 5);
  cv::normalize(picture, picture, 10, 245, cv::NORM_MINMAX);
  return picture;
}

// Colour at a half or all of the resolution across and down: cameras give 2, 1 as a rule.
std::vector<std::uint8_t> jpeg_of(const cv::Mat& bgr, int across, int down) {
  jpeg_compress_struct info{};
  jpeg_error_mgr errors{};
  info.err = jpeg_std_error(&errors);
  jpeg_create_compress(&info);
  unsigned char* bytes = nullptr;
  unsigned long size = 0;
  jpeg_mem_dest(&info, &bytes, &size);
  info.image_width = static_cast<JDIMENSION>(bgr.cols);
  info.image_height = static_cast<JDIMENSION>(bgr.rows);
  info.input_components = 3;
  info.in_color_space = JCS_EXT_BGR;
  jpeg_set_defaults(&info);
  jpeg_set_quality(&info, 92, TRUE);
  info.comp_info[0].h_samp_factor = across;
  info.comp_info[0].v_samp_factor = down;
  jpeg_start_compress(&info, TRUE);
  for (int y = 0; y < bgr.rows; ++y) {
    JSAMPROW row = const_cast<JSAMPROW>(bgr.ptr(y));  // not written to
    jpeg_write_scanlines(&info, &row, 1);
  }
  jpeg_finish_compress(&info);
  jpeg_destroy_compress(&info);
  std::vector<std::uint8_t> jpeg(bytes, bytes + size);
  std::free(bytes);
  return jpeg;
}

class DecodedParts : public testing::TestWithParam<std::array<int, 2>> {};

TEST_P(DecodedParts, HaveTheSumsOfTheWholePicture) {
  const cv::Mat picture = painting(640, 480);
  std::vector<LampRegion> regions(3);
  regions[0].x = 100, regions[0].y = 60, regions[0].radius = 17;
  regions[1].x = 320.4, regions[1].y = 200, regions[1].radius = 9.5;
  regions[2].x = 635, regions[2].y = 301, regions[2].radius = 12;  // partly outside
  const std::vector<std::uint8_t> jpeg = jpeg_of(picture, GetParam()[0], GetParam()[1]);
  RegionSummer parts(regions, 640, 480), whole(regions, 640, 480);
  for (const int shift : {0, -7, 11}) {
    parts.shift(shift, shift / 2);
    whole.shift(shift, shift / 2);
    const std::vector<RegionSums>* by_parts = parts.of_jpeg(jpeg);
    ASSERT_NE(by_parts, nullptr);
    const std::vector<RegionSums>& all = whole.of_picture(cv::imdecode(jpeg, cv::IMREAD_COLOR));
    for (std::size_t i = 0; i < regions.size(); ++i) {
      const PixelSums &a = (*by_parts)[i].core, &b = all[i].core;
      ASSERT_EQ(a.pixels, b.pixels);
      const auto mean = [](std::uint64_t sum, const PixelSums& s) {
        return static_cast<double>(sum) / static_cast<double>(s.pixels);
      };
      // Within 1.5 counts: what the other transform and chroma interpolation make of the same JPEG.
      EXPECT_NEAR(mean(a.y, a), mean(b.y, b), 1.5);
      EXPECT_NEAR(mean(a.cb, a), mean(b.cb, b), 1.5);
      EXPECT_NEAR(mean(a.cr, a), mean(b.cr, b), 1.5);
      EXPECT_EQ((*by_parts)[i].rim.pixels, all[i].rim.pixels);
    }
  }
}

INSTANTIATE_TEST_SUITE_P(ColourAt, DecodedParts,
                         testing::Values(std::array{2, 2}, std::array{2, 1}, std::array{1, 1}),
                         [](const auto& at) {
                           return std::to_string(at.param[0]) + "x" + std::to_string(at.param[1]);
                         });

TEST(RegionSummer, ADamagedFrameTellsNothing) {
  std::vector<std::uint8_t> jpeg;
  cv::imencode(".jpg", painting(320, 240), jpeg);
  jpeg.resize(jpeg.size() / 3);
  LampRegion region;
  region.x = region.y = 150;
  region.radius = 10;
  EXPECT_EQ(RegionSummer({region}, 320, 240).of_jpeg(jpeg), nullptr);
}

TEST(Registration, FindsAShiftInAnyLightAndSaysWhenItCannot) {
  const ScratchFolder scratch;
  cv::Mat dial;
  cv::cvtColor(painting(480, 320), dial, cv::COLOR_BGR2GRAY);
  Regions regions;
  regions.width = 480;
  regions.height = 320;
  regions.dial_picture = (scratch / "dial.png").string();
  regions.within_px = 12;
  regions.patches = choose_patches(dial, cv::Mat::zeros(dial.size(), CV_8U));
  ASSERT_GE(regions.patches.size(), 3U);
  cv::imwrite(regions.dial_picture, dial);
  const Registration registration(regions);
  const auto moved = [&](double right, double down, double light) {
    const cv::Mat by = (cv::Mat_<double>(2, 3) << 1, 0, right, 0, 1, down);
    cv::Mat out;
    cv::warpAffine(dial, out, by, dial.size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
    out.convertTo(out, -1, light);
    return out;
  };
  const std::optional<DialPlace> place = registration.find(moved(6.5, -3.25, 0.7));
  ASSERT_TRUE(place);
  EXPECT_NEAR(place->right, 6.5, 0.3);
  EXPECT_NEAR(place->down, -3.25, 0.3);
  EXPECT_NEAR(place->ambient, std::pow(0.7, 2.2), 0.08);  // sRGB is about a power of 2.2
  EXPECT_FALSE(registration.find(moved(40, 0, 1)));
  EXPECT_FALSE(registration.find(cv::Mat::zeros(320, 480, CV_8U)));
}

Frame as_frame(const cv::Mat& picture) {
  Frame frame;
  frame.picture = picture;
  return frame;
}

// A still scene with a sensor's noise, frame after frame.
cv::Mat noisy(double noise) {
  cv::Mat grain(240, 320, CV_16SC3), picture;
  cv::randn(grain, 100, noise);
  grain.convertTo(picture, CV_8U);
  return picture;
}

TEST(RepeatedFrames, AreIdenticalOnesWhereFramesComeAsTheyWereTaken) {
  RepeatedFrames repeated(true);
  const cv::Mat one = noisy(2), other = noisy(2);
  EXPECT_FALSE(repeated.is_last_again(as_frame(one)));
  EXPECT_TRUE(repeated.is_last_again(as_frame(one)));
  EXPECT_FALSE(repeated.is_last_again(as_frame(other)));
}

TEST(RepeatedFrames, HardlyDifferWhereACodecLeftNoise) {
  RepeatedFrames repeated(false);
  cv::Mat last = noisy(2);
  for (int i = 0; i < 200; ++i) {
    cv::Mat next = noisy(2);
    const bool again = i % 40 == 39;
    if (again) {  // coded anew: a few counts here and there
      next = last.clone();
      for (int x = 0; x < next.cols; x += 16) next.col(x) += cv::Scalar::all(1);
    }
    EXPECT_EQ(repeated.is_last_again(as_frame(next)), again) << i;
    last = next;
  }
}

TEST(RepeatedFrames, AreNotToldWhereACodecLeftNoNoise) {
  RepeatedFrames repeated(false);
  cv::Mat picture = noisy(2);
  for (int i = 0; i < 100; ++i) {
    if (i % 7 == 0) picture.at<cv::Vec3b>(i, i) += cv::Vec3b(9, 9, 9);
    EXPECT_FALSE(repeated.is_last_again(as_frame(picture.clone())));
  }
}

}  // namespace
}  // namespace tachproof

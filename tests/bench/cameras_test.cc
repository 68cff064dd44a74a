// The cameras that are present, with a kernel that is written down beforehand.
#include "bench/rigs/camera/cameras.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <linux/videodev2.h>

#include <cerrno>
#include <cstring>

#include "tests/bench/fake_video.h"

namespace tachproof {
namespace {

using testing::StartsWith;

TEST(Cameras, AreListedWithNameFormatsSizesAndRates) {
  test::FakeVideo kernel;
  kernel.formats = {V4L2_PIX_FMT_YUYV, V4L2_PIX_FMT_MJPEG, V4L2_PIX_FMT_GREY};
  const std::vector<CameraFound> cameras = cameras_present(kernel);
  ASSERT_EQ(cameras.size(), 1U);
  EXPECT_EQ(cameras[0].device, "/dev/video0");
  EXPECT_EQ(cameras[0].name, "/dev/v4l/by-id/usb-tarn-video-index0");
  EXPECT_EQ(cameras[0].card, "Tarn camera");
  EXPECT_EQ(cameras[0].bus, "usb-0000:00:14.0-2");
  EXPECT_EQ(cameras[0].closed_because, "");
  ASSERT_EQ(cameras[0].formats.size(), 2U) << "a picture without colours is of no use";
  EXPECT_EQ(cameras[0].formats[0].name, "MJPG");
  EXPECT_EQ(cameras[0].formats[1].name, "YUYV");
  ASSERT_EQ(cameras[0].formats[1].modes.size(), 1U);
  EXPECT_EQ(cameras[0].formats[1].modes[0].width, 64);
  EXPECT_EQ(cameras[0].formats[1].modes[0].height, 48);
  EXPECT_EQ(cameras[0].formats[1].modes[0].most_fps, 30);
  EXPECT_EQ(kernel.open_files, 0);
}

TEST(Cameras, AMetadataNodeIsNone) {
  test::FakeVideo kernel;
  kernel.can = V4L2_CAP_META_CAPTURE | V4L2_CAP_STREAMING;
  EXPECT_TRUE(cameras_present(kernel).empty());
  EXPECT_EQ(kernel.open_files, 0);
}

TEST(Cameras, OneThatMayNotBeOpenedIsSaidWithTheRemedy) {
  test::FakeVideo kernel;
  kernel.open_error = EACCES;
  const std::vector<CameraFound> cameras = cameras_present(kernel);
  ASSERT_EQ(cameras.size(), 1U);
  EXPECT_EQ(cameras[0].card, "Tarn camera");
  EXPECT_THAT(cameras[0].closed_because, StartsWith("no permission; it belongs to the group "));
}

TEST(Cameras, OneWithoutAFormatThatCanBeReadSaysSo) {
  test::FakeVideo kernel;
  kernel.formats = {V4L2_PIX_FMT_GREY};
  EXPECT_EQ(cameras_present(kernel).at(0).closed_because,
            "it offers none of the formats that can be read: MJPG, JPEG, YUYV, UYVY, NV12, BGR3, RGB3");
}

}  // namespace
}  // namespace tachproof

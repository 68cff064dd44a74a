// The V4L2 part, with a kernel that is written down beforehand; tests/guest has the real one.
#include "bench/camera/video_device.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/bench/error_of.h"
#include "tests/bench/fake_video.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::StartsWith;

class VideoDevice : public testing::Test {
 protected:
  std::unique_ptr<FrameSource> device() { return open_device(asked, kernel); }
  std::string refusal() {
    return error_of([&] { device(); });
  }
  std::string refusal_of_a_frame() {
    Frame frame;
    return error_of([&] { device()->next(frame); });
  }

  std::shared_ptr<test::FakeVideo> kernel = std::make_shared<test::FakeVideo>();
  SourceSettings asked = [] {
    SourceSettings settings;
    settings.from = "/dev/video0";
    return settings;
  }();
};

TEST_F(VideoDevice, SwitchesAutomaticsOffAndReadsBackWhatIsAsked) {
  kernel->controls = {{V4L2_CID_EXPOSURE_AUTO, {3}},
                      {V4L2_CID_EXPOSURE_ABSOLUTE, {333}},
                      {V4L2_CID_AUTOGAIN, {1}},
                      {V4L2_CID_GAIN, {7}},
                      {V4L2_CID_AUTO_WHITE_BALANCE, {1}},
                      {V4L2_CID_WHITE_BALANCE_TEMPERATURE, {4600}},
                      {V4L2_CID_EXPOSURE_AUTO_PRIORITY, {1}}};
  asked.exposure_ms = 5;
  asked.gain = 12;
  EXPECT_EQ(device()->about(),
            "/dev/video0 (Tarn camera), YUYV, 64x48, 30.00 frames a second, stamped by CLOCK_MONOTONIC; read "
            "back: exposure 5.0 ms, automatic exposure off, automatic gain off, automatic white balance off, "
            "no automatic focus, gain 12, white balance 4600 K");
  EXPECT_EQ(kernel->controls.at(V4L2_CID_EXPOSURE_AUTO_PRIORITY).value, 0);
  EXPECT_EQ(kernel->open_files, 0);
}

TEST_F(VideoDevice, ThatKeepsAnAutomaticSettingIsRefusedThoughItSaysYes) {
  kernel->controls = {{V4L2_CID_AUTOGAIN, {1, true}}};
  EXPECT_THAT(refusal(), StartsWith("the camera /dev/video0 keeps its automatic gain; set it by hand"));
  kernel->controls = {{V4L2_CID_EXPOSURE_AUTO, {3, true}}};
  EXPECT_THAT(refusal(), StartsWith("the camera /dev/video0 keeps its automatic exposure; set it by hand"));
  kernel->controls = {{V4L2_CID_EXPOSURE_ABSOLUTE, {333, true}}};
  asked.exposure_ms = 5;
  EXPECT_THAT(refusal(),
              StartsWith("the camera /dev/video0 keeps its exposure at 33.3 ms where 5.0 was asked for"));
}

TEST_F(VideoDevice, PrefersMjpgAndHandsItOnAsItIs) {
  kernel->formats = {V4L2_PIX_FMT_YUYV, V4L2_PIX_FMT_MJPEG};
  const auto source = device();
  EXPECT_THAT(source->about(), HasSubstr(", MJPG, "));
  kernel->frame().bytesused = 3;
  kernel->memory.front()[0] = 0xff;
  kernel->memory.front()[1] = 0xd8;
  Frame frame;
  ASSERT_TRUE(source->next(frame));
  EXPECT_EQ(frame.jpeg, (std::vector<std::uint8_t>{0xff, 0xd8, 0}));
}

TEST_F(VideoDevice, DecodesYuyv) {
  const auto source = device();
  kernel->frame();
  for (std::size_t i = 0; i < kernel->memory.front().size(); i += 4) {
    // Blue at full strength, by ITU-R BT.601.
    const std::uint8_t pair[] = {41, 240, 41, 110};
    std::copy(pair, pair + 4, kernel->memory.front().begin() + static_cast<std::ptrdiff_t>(i));
  }
  Frame frame;
  ASSERT_TRUE(source->next(frame));
  const cv::Vec3b middle = frame.picture.at<cv::Vec3b>(24, 32);
  EXPECT_NEAR(middle[0], 255, 3);
  EXPECT_NEAR(middle[1], 0, 3);
  EXPECT_NEAR(middle[2], 0, 3);
}

TEST_F(VideoDevice, PassesDamagedAndShortFramesOver) {
  const auto source = device();
  kernel->frame().flags |= V4L2_BUF_FLAG_ERROR;
  kernel->frame().bytesused = 100;
  const Nanos good = kernel->frame().timestamp.tv_sec * ns_per_s;
  Frame frame;
  ASSERT_TRUE(source->next(frame));
  EXPECT_GE(frame.at, good);
  EXPECT_TRUE(kernel->frames.empty());
}

TEST_F(VideoDevice, OfAnotherClockIsRefused) {
  const std::string why =
      "the camera /dev/video0 does not stamp its frames by CLOCK_MONOTONIC, so they have no place in the "
      "run: set "
      "its driver to that clock (uvcvideo: clock=CLOCK_MONOTONIC)";
  kernel->frame().flags = V4L2_BUF_FLAG_TIMESTAMP_UNKNOWN;
  EXPECT_EQ(refusal_of_a_frame(), why);
  kernel->frame().timestamp.tv_sec += 1'700'000'000;  // says so, and is of the time of day
  EXPECT_EQ(refusal_of_a_frame(), why);
}

TEST_F(VideoDevice, ThatIsUnpluggedOrSilentEndsTheRun) {
  EXPECT_EQ(refusal_of_a_frame(), "the camera /dev/video0 has given no frame for 2 s: was it unplugged?");
  kernel->read_error = ENODEV;
  EXPECT_EQ(refusal_of_a_frame(), "the camera /dev/video0 is gone: was it unplugged?");
}

TEST_F(VideoDevice, ThatGivesAnotherSizeThanWasTaughtIsRefused) {
  asked.width = 1280;
  asked.height = 720;
  EXPECT_EQ(refusal(),
            "the camera /dev/video0 gives 64x48 pixels, and the lamps were taught at 1280x720: teach again");
}

}  // namespace
}  // namespace tachproof

// The V4L2 part and the kernel itself, by its driver vivid: runs in the guest, as root.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <linux/videodev2.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <opencv2/imgproc.hpp>
#include <thread>

#include "bench/camera/frame_source.h"
#include "bench/camera/video_device.h"
#include "bench/rigs/camera/cameras.h"
#include "bench/rigs/command_clock.h"
#include "core/camera/frame_times.h"
#include "tests/bench/error_of.h"
#include "tests/guest/vivid.h"

namespace tachproof {
namespace {

using test::Vivid;
using testing::HasSubstr;
using testing::StartsWith;

// The kernel, whose cameras offer one format only.
class OneFormat : public VideoKernel {
 public:
  explicit OneFormat(std::uint32_t format) : format_(format) {}
  std::vector<std::string> devices() override { return all_->devices(); }
  std::string card(const std::string& device) override { return all_->card(device); }
  std::string stable_name(const std::string& device) override { return all_->stable_name(device); }
  int open(const std::string& device) override { return all_->open(device); }
  int ioctl(int fd, unsigned long request, void* argument) override {
    if (request == VIDIOC_ENUM_FMT) {
      auto& entry = *static_cast<v4l2_fmtdesc*>(argument);
      entry.pixelformat = format_;
      return entry.index == 0 ? 0 : (errno = EINVAL, -1);
    }
    return all_->ioctl(fd, request, argument);
  }
  void* map(int fd, std::size_t length, off_t offset) override { return all_->map(fd, length, offset); }
  void unmap(void* at, std::size_t length) override { all_->unmap(at, length); }
  int wait(int fd, int timeout_ms) override { return all_->wait(fd, timeout_ms); }
  void close(int fd) override { all_->close(fd); }

 private:
  const std::uint32_t format_;
  std::shared_ptr<VideoKernel> all_ = linux_video();
};

class GuestCamera : public testing::Test {
 protected:
  void SetUp() override {
    vivid.choose_webcam();
    vivid.set("Gain, Automatic", 1);
    // At the other setting this driver stamps 0.9 periods ahead of the time.
    vivid.set("Timestamp Source", 1);
  }
  SourceSettings settings() const {
    SourceSettings asked;
    asked.from = vivid.camera();
    asked.width = 320;
    asked.height = 180;
    asked.fps = 30;
    return asked;
  }
  std::unique_ptr<FrameSource> camera() const { return open_frames(settings()); }
  static Nanos now() { return monotonic_clock()->now(); }

  Vivid vivid{0};
};

TEST_F(GuestCamera, IsListedAndNoOtherKindOfNodeIs) {
  const std::vector<CameraFound> cameras = cameras_present(*linux_video());
  const auto found = std::find_if(cameras.begin(), cameras.end(),
                                  [&](const CameraFound& c) { return c.device == vivid.camera(); });
  ASSERT_NE(found, cameras.end());
  EXPECT_EQ(found->card, "vivid");
  EXPECT_EQ(found->bus, "platform:vivid-000");
  EXPECT_EQ(found->closed_because, "");
  ASSERT_FALSE(found->formats.empty());
  EXPECT_EQ(found->formats[0].name, "YUYV");
  EXPECT_EQ(found->formats[0].modes[0].width, 320);
  EXPECT_EQ(found->formats[0].modes[0].most_fps, 60);
  const std::vector<std::string> nodes = linux_video()->devices();
  EXPECT_EQ(nodes.size(), 3 * cameras.size()) << "each has an output and a metadata node besides";
  for (const CameraFound& c : cameras) EXPECT_NE(c.device, vivid.screen());
}

TEST_F(GuestCamera, ItsAutomaticGainIsSwitchedOffAndTheGainReadBack) {
  SourceSettings asked = settings();
  asked.gain = 40;
  const std::string about = open_frames(asked)->about();
  EXPECT_EQ(vivid.get("Gain, Automatic"), 0);
  EXPECT_EQ(vivid.get("Gain"), 40);
  EXPECT_EQ(about,
            vivid.camera() +
                " (vivid), YUYV, 320x180, 30.00 frames a second, stamped by CLOCK_MONOTONIC; read back: "
                "no exposure setting, no automatic exposure, automatic gain off, no automatic white "
                "balance, no automatic focus, gain 40");
}

TEST_F(GuestCamera, ThatKeepsItsAutomaticGainIsRefused) {
  vivid.lock_settings(true);
  const std::string why = error_of([&] { camera(); });
  vivid.lock_settings(false);
  EXPECT_THAT(why, StartsWith("the camera " + vivid.camera() +
                              " keeps its automatic gain; set it by hand (v4l2-ctl); read back: "));
}

TEST_F(GuestCamera, ThatCannotBeGivenAnExposureIsRefusedOne) {
  SourceSettings asked = settings();
  asked.exposure_ms = 8;
  EXPECT_THAT(error_of([&] { open_frames(asked); }),
              HasSubstr("has no exposure setting; leave exposure_ms out of the rig file"));
}

TEST_F(GuestCamera, ASizeThatItDoesNotHaveIsRefused) {
  SourceSettings asked = settings();
  asked.width = 512;
  asked.height = 288;
  EXPECT_THAT(error_of([&] { open_frames(asked); }),
              HasSubstr("pixels, and the lamps were taught at 512x288"));
}

TEST_F(GuestCamera, TheOtherNodesAreNoCameras) {
  SourceSettings asked = settings();
  asked.from = vivid.screen();
  EXPECT_EQ(error_of([&] { open_frames(asked); }),
            "the camera " + vivid.screen() + " captures no video; `tachproof ports` lists the cameras");
}

TEST_F(GuestCamera, StampsAreOfTheMonotonicClock) {
  const auto source = camera();
  Frame frame;
  std::vector<Nanos> steps, ages;
  Nanos last = 0;
  for (int i = 0; i < 90; ++i) {
    const Nanos before = now();
    ASSERT_TRUE(source->next(frame));
    const Nanos after = now();
    EXPECT_LE(frame.at, after);
    EXPECT_GT(frame.at, before - ns_per_s);
    if (last > 0) steps.push_back(frame.at - last);
    ages.push_back(after - frame.at);
    last = frame.at;
  }
  std::sort(steps.begin(), steps.end());
  std::sort(ages.begin(), ages.end());
  fmt::print(
      "saw: 90 frames: steps {:.2f} to {:.2f} ms, median {:.2f} ms; age at reading {:.2f} ms (median)\n",
      static_cast<double>(steps.front()) * 1e-6, static_cast<double>(steps.back()) * 1e-6,
      static_cast<double>(steps[steps.size() / 2]) * 1e-6, static_cast<double>(ages[45]) * 1e-6);
  EXPECT_EQ(source->period(), from_seconds(1.0 / 30));
}

TEST_F(GuestCamera, AReaderThatStallsLosesFramesAndSeesItByTheTimes) {
  const auto source = camera();
  FrameTimes times(source->period());
  Frame frame;
  Nanos last = 0, largest = 0;
  for (int i = 0; i < 60; ++i) {
    ASSERT_TRUE(source->next(frame));
    times.take(frame.at, false);
    if (last > 0) largest = std::max(largest, frame.at - last);
    last = frame.at;
    if (i == 10) std::this_thread::sleep_for(std::chrono::milliseconds(1500));
  }
  fmt::print("saw: stalled for 1.5 s at 30 a second: {} frames lost, step {:.0f} ms\n", times.dropped(),
             static_cast<double>(largest) * 1e-6);
  EXPECT_GT(times.dropped(), 0U);
  EXPECT_GT(largest, source->period() * 3 / 2);
  EXPECT_EQ(times.backwards(), 0U);
}

TEST_F(GuestCamera, AHalfSecondOfStallIsBridgedByTheBuffers) {
  const auto source = camera();
  FrameTimes times(source->period());
  Frame frame;
  for (int i = 0; i < 40; ++i) {
    ASSERT_TRUE(source->next(frame));
    times.take(frame.at, false);
    if (i == 10) std::this_thread::sleep_for(std::chrono::milliseconds(400));
  }
  EXPECT_EQ(times.dropped(), 0U);
}

TEST_F(GuestCamera, FramesThatTheDriverDropsAreMissedByTheTimes) {
  const auto source = camera();
  vivid.set("Percentage of Dropped Buffers", 20);
  FrameTimes times(source->period());
  Frame frame;
  for (int i = 0; i < 60; ++i) {
    ASSERT_TRUE(source->next(frame));
    times.take(frame.at, false);
  }
  vivid.set("Percentage of Dropped Buffers", 0);
  fmt::print("saw: a fifth dropped by the driver: 60 frames came, {} missed\n", times.dropped());
  EXPECT_GT(times.dropped(), 3U);
}

TEST_F(GuestCamera, ADamagedFrameIsPassedOver) {
  const auto source = camera();
  FrameTimes times(source->period());
  Frame frame;
  for (int i = 0; i < 30; ++i) {
    ASSERT_TRUE(source->next(frame));
    times.take(frame.at, false);
    if (i == 10) vivid.set("Inject V4L2_BUF_FLAG_ERROR", 1);
  }
  EXPECT_GE(times.dropped(), 1U);
}

TEST_F(GuestCamera, EveryFormatDecodesToTheSamePicture) {
  vivid.set("OSD Text Mode", 2);
  const auto picture = [&](std::uint32_t format) {
    Frame frame;
    const auto source = open_device(settings(), std::make_shared<OneFormat>(format));
    source->next(frame);
    EXPECT_THAT(source->about(), HasSubstr(", " + four_letters(format) + ", "));
    return frame.picture.clone();
  };
  const cv::Mat plain = picture(V4L2_PIX_FMT_BGR24);
  cv::Mat spread;
  cv::meanStdDev(plain, cv::noArray(), spread);
  EXPECT_GT(spread.at<double>(0), 30) << "colour bars";
  for (const std::uint32_t format :
       {V4L2_PIX_FMT_RGB24, V4L2_PIX_FMT_YUYV, V4L2_PIX_FMT_UYVY, V4L2_PIX_FMT_NV12}) {
    cv::Mat apart;
    cv::absdiff(plain, picture(format), apart);
    const cv::Scalar mean = cv::mean(apart);
    fmt::print("saw: {} beside BGR3: {:.2f} {:.2f} {:.2f} counts apart on average\n", four_letters(format),
               mean[0], mean[1], mean[2]);
    for (int i = 0; i < 3; ++i) EXPECT_LT(mean[i], 4) << four_letters(format);
  }
}

TEST_F(GuestCamera, AStreamThatDoesNotStartIsSaid) {
  const auto source = camera();
  vivid.set("Inject VIDIOC_STREAMON Error", 1);
  Frame frame;
  EXPECT_EQ(error_of([&] { source->next(frame); }),
            "starting the camera " + vivid.camera() + ": Invalid argument");
}

TEST_F(GuestCamera, AFatalErrorOfTheStreamIsSaid) {
  const auto source = camera();
  Frame frame;
  ASSERT_TRUE(source->next(frame));
  vivid.set("Inject Fatal Streaming Error", 1);
  EXPECT_EQ(error_of([&] {
              for (int i = 0; i < 40; ++i) source->next(frame);
            }),
            "reading a frame of the camera " + vivid.camera() + ": Input/output error");
}

TEST_F(GuestCamera, ACameraThatSomebodyFilmsWithIsSaid) {
  const auto first = camera();
  Frame frame;
  ASSERT_TRUE(first->next(frame));
  EXPECT_EQ(error_of([&] { camera(); }),
            "the camera " + vivid.camera() + " is in use: another program films with it");
}

TEST_F(GuestCamera, ThatIsUnpluggedIsGoneAtOnce) {
  Vivid other(2);  // it does not come back
  SourceSettings asked = settings();
  asked.from = other.camera();
  const auto source = open_frames(asked);
  Frame frame;
  ASSERT_TRUE(source->next(frame));
  const Nanos before = now();
  other.set("Disconnect", 1);
  EXPECT_EQ(error_of([&] {
              for (int i = 0; i < 40; ++i) source->next(frame);
            }),
            "the camera " + other.camera() + " is gone: was it unplugged?");
  fmt::print("saw: unplugged, and said {:.0f} ms later\n", static_cast<double>(now() - before) * 1e-6);
}

}  // namespace
}  // namespace tachproof

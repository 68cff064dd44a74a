// What may be amiss with a clip itself, or with the words that go with it.
#include <gmock/gmock.h>

#include <filesystem>
#include <fstream>

#include <opencv2/imgcodecs.hpp>

#include "bench/files/regions.h"
#include "tests/camera/clip_truth.h"
#include "tests/camera/matroska_times.h"
#include "tests/camera/shared_camera.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

class FilmedClip : public testing::Test {
 protected:
  static const test::TaughtCamera& taught() { return test::shared_camera(); }
};

TEST_F(FilmedClip, InH264TellsOfFramesThatStandForOthersWhileNoiseIsLeft) {
  test::Camera camera = taught().camera();
  camera.noise = 9;
  camera.lasts_s = 3;
  camera.repeated = {40, 41, 60};
  const std::filesystem::path clip = taught().folder() / "stalled.mp4";
  film({taught().gauge(), {}, {}}, camera, test::Clip::h264, clip.string());
  std::vector<int> again;
  for (const test::ToldFrame& frame : frames_told(clip, taught().folder() / "regions.yaml", camera))
    if (frame.again) again.push_back(frame.index);
  EXPECT_EQ(again, camera.repeated);
}

TEST_F(FilmedClip, IsReadOnWhenTheRoomsLightIsSwitched) {
  test::Camera camera = taught().camera();
  camera.lasts_s = 3;
  camera.room_light_at_s = 1.8;  // amid the frames between two looks for the dial
  camera.room_light = 0.5;
  const std::filesystem::path clip = taught().folder() / "switched.avi";
  film({taught().gauge(), {}, {}}, camera, test::Clip::mjpg, clip.string());
  int unclear = 0;
  for (const test::ToldFrame& frame : frames_told(clip, taught().folder() / "regions.yaml", camera))
    unclear += frame.letters != "......";
  EXPECT_LE(unclear, 1);  // half a frame in either light
}

TEST_F(FilmedClip, IsTimedByTheFileWhereThatHasTimes) {
  test::Camera camera = taught().camera();
  camera.lasts_s = 3;
  const std::filesystem::path clip = taught().folder() / "times.mkv";
  film({taught().gauge(), {}, {}}, camera, test::Clip::h264, clip.string());
  test::delay_matroska(clip, from_seconds(1.95), from_seconds(0.2));
  const std::vector<test::ToldFrame> frames = frames_told(clip, taught().folder() / "regions.yaml", camera);
  EXPECT_EQ(frames.size(), 90U);
  for (const test::ToldFrame& frame : frames) {
    const double at_s = frame.index / camera.fps;
    EXPECT_NEAR(to_seconds(frame.at), at_s < 1.95 ? at_s : at_s + 0.2, 0.001) << frame.index;
  }
}

TEST_F(FilmedClip, LacksTheFramesThatAreDamagedInTheFile) {
  test::Camera camera = taught().camera();
  camera.noise = 9;  // so that there is something in the file
  camera.lasts_s = 3;
  const std::filesystem::path clip = taught().folder() / "damaged.mp4";
  film({taught().gauge(), {}, {}}, camera, test::Clip::h264, clip.string());
  const auto size = static_cast<std::streamoff>(std::filesystem::file_size(clip));
  {
    std::fstream file(clip, std::ios::in | std::ios::out | std::ios::binary);
    file.seekp(size / 2);
    file << std::string(2000, 'x');
  }
  const std::vector<test::ToldFrame> frames = frames_told(clip, taught().folder() / "regions.yaml", camera);
  Nanos widest = 0;
  for (std::size_t i = 1; i < frames.size(); ++i) widest = std::max(widest, frames[i].at - frames[i - 1].at);
  EXPECT_LT(frames.size(), 90U);
  // Up to the next frame that stands alone, which may be the clip's end.
  EXPECT_TRUE(to_seconds(widest) > 1.9 / camera.fps || frames.back().index < 88)
      << to_seconds(widest) << " " << frames.back().index;
  // Nor are those told that were made from them.
  for (const test::ToldFrame& frame : frames) EXPECT_EQ(frame.letters, "......") << frame.index;
}

TEST_F(FilmedClip, IsWarnedOfBeforeItWhenTheFramesCannotFollowTheBlink) {
  test::Camera camera = taught().camera();
  camera.lasts_s = 1;
  film({taught().gauge(), {}, {}}, camera, test::Clip::mjpg, (taught().folder() / "brief.avi").string());
  std::ifstream gauge_file(taught().folder() / "gauge.yaml");
  std::string gauge{std::istreambuf_iterator<char>(gauge_file), {}};
  const std::string slow = "blink: {hz: 2,";
  ASSERT_NE(gauge.find(slow), std::string::npos);
  std::ofstream(taught().folder() / "fast.yaml")
      << gauge.replace(gauge.find(slow), slow.size(), "blink: {hz: 20,");
  const Finished run = run_process(
      command_line(
          "judge brief.avi --gauge fast.yaml --scenario scenario.yaml --regions regions.yaml --no-history"),
      taught().folder());
  EXPECT_EQ(run.status, 3) << run.err;
  EXPECT_THAT(run.err, HasSubstr("warning: lamps blink so fast that they are lit or dark for only 25.0 ms"));
}

TEST_F(FilmedClip, IsNotStartedWithoutWhatItNeeds) {
  const auto refused = [&](const std::string& watch) {
    std::ofstream(taught().folder() / "rig.yaml")
        << "format: 1\nkind: rig\nsource: {kind: simulated}\nwatch: {kind: camera, " << watch << "}\n";
    const Finished run = run_process(
        command_line("run scenario.yaml --gauge gauge.yaml --rig rig.yaml --no-history"), taught().folder());
    return std::to_string(run.status) + ": " + run.err;
  };
  EXPECT_THAT(refused("clip: gone.avi, regions: regions.yaml"), HasSubstr("there is no gone.avi"));
  EXPECT_THAT(refused("clip: gone.avi, regions: gone.yaml"), HasSubstr("gone.yaml"));
  EXPECT_THAT(
      refused("device: /dev/video0, regions: regions.yaml"),
      HasSubstr(
          "rig.yaml:4:8: a camera's device beside a 'simulated' source: nothing would play to the unit; "
          "source must be {kind: board} or {kind: scpi}"));
}

TEST_F(FilmedClip, RefusesASyncActionThatIsNotPressedAndFramesOfAnotherSize) {
  test::Camera camera = taught().camera();
  camera.lasts_s = 1;
  film({taught().gauge(), {}, {}}, camera, test::Clip::mjpg, (taught().folder() / "brief.avi").string());
  camera.width = 640;
  camera.height = 360;
  film({taught().gauge(), {}, {}}, camera, test::Clip::mjpg, (taught().folder() / "large.avi").string());
  const auto judged = [&](const std::string& words) {
    const Finished run =
        run_process(command_line("judge " + words +
                                 " --gauge gauge.yaml --scenario scenario.yaml --regions regions.yaml "
                                 "--no-history"),
                    taught().folder());
    return std::to_string(run.status) + ": " + run.err + run.out;
  };
  EXPECT_THAT(judged("brief.avi --sync flash"),
              HasSubstr("--sync is 'flash', which scenario.yaml does not press; it presses: sync"));
  EXPECT_THAT(judged("large.avi"),
              testing::AllOf(HasSubstr("the frames are 640x360 pixels"), HasSubstr("384x216")));
}

TEST_F(FilmedClip, RegionsReadBackAsTheyWereWritten) {
  const Regions regions = load_regions(taught().folder() / "regions.yaml");
  EXPECT_EQ(regions.lamps.size(), 5U);
  ASSERT_TRUE(regions.sync);
  std::ofstream(taught().folder() / "again.yaml") << regions_text(regions);
  EXPECT_EQ(regions_text(load_regions(taught().folder() / "again.yaml")), regions_text(regions));
  // The picture for a person.
  EXPECT_FALSE(cv::imread((taught().folder() / "regions.png").string()).empty());
}

}  // namespace
}  // namespace tachproof

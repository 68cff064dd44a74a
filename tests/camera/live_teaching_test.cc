// `teach` on a rig: a clip stands in for the camera, its frames coming when they
// would. No real camera is asked here.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <chrono>
#include <csignal>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <sstream>
#include <thread>

#include "bench/files/regions.h"
#include "tests/bench/scratch_folder.h"
#include "tests/bench/simulated_generator.h"
#include "tests/camera/shared_camera.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

class LiveTeaching : public testing::Test {
 protected:
  static const test::TaughtCamera& taught() { return test::shared_camera(); }
  static std::filesystem::path file(const std::string& name) { return taught().folder() / name; }
  static void write_rig(const std::string& source) {
    std::ofstream(file("live-rig.yaml")) << "format: 1\nkind: rig\nsource: " << source
                                         << "\nwatch: {kind: simulated, unit: gauge-under-test}\n";
  }
  static std::vector<std::string> words(const std::string& from, const std::string& more = "") {
    return command_line("teach " + from + " --gauge gauge.yaml --rig live-rig.yaml --out live.yaml" + more);
  }
};

TEST_F(LiveTeaching, FindsWhatTheClipShowsAndSaysThatNobodyHasLooked) {
  write_rig("{kind: simulated}");
  const Finished done = run_process(words("teaching.avi", " --within 9 --keep-clip kept"), taught().folder());
  ASSERT_EQ(done.status, 0) << done.out << done.err;
  EXPECT_THAT(done.out, HasSubstr("live.png: check that every lamp is circled and has its right name"));
  std::ostringstream text;
  text << std::ifstream(file("live.yaml")).rdbuf();
  EXPECT_TRUE(text.str().starts_with(
      "# Nobody has checked yet that all lamps are circled and have their right names in live.png.\n"));
  const Regions live = load_regions(file("live.yaml")), clip = load_regions(file("regions.yaml"));
  ASSERT_EQ(live.lamps.size(), clip.lamps.size());
  for (std::size_t i = 0; i < live.lamps.size(); ++i) {
    EXPECT_EQ(live.lamps[i].lamp, clip.lamps[i].lamp);
    EXPECT_NEAR(live.lamps[i].x, clip.lamps[i].x, 1);
    EXPECT_NEAR(live.lamps[i].y, clip.lamps[i].y, 1);
  }
  EXPECT_TRUE(live.sync);
  EXPECT_EQ(live.within_px, 9);
  EXPECT_TRUE(std::filesystem::exists(file("kept") / "times.txt"));
}

TEST_F(LiveTeaching, CtrlCSwitchesTheOutputOffAndTeachesNothing) {
  test::SimulatedGenerator generator{std::make_shared<test::VirtualClock>(), {}};
  write_rig("{kind: scpi, address: \"" + generator.address() +
            "\", amplitude_v: 5, offset_v: 2.5, answer_ms: 50}");
  std::filesystem::remove(file("live.yaml"));
  Process process(words("teaching.avi"), taught().folder());
  for (int i = 0; i < 500 && !generator.output_on(); ++i)
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
  const bool was_on = generator.output_on();
  process.signal(SIGINT);
  const Finished done = process.wait();
  EXPECT_EQ(done.status, 3) << done.out << done.err;
  EXPECT_FALSE(std::filesystem::exists(file("live.yaml")));
  if (!was_on) GTEST_SKIP() << "this machine was too busy for 50 ms: it ended before the signal";
  EXPECT_FALSE(generator.output_on());
}

TEST_F(LiveTeaching, ThePersonAtTheTerminalHasTheLastWordOnThePicture) {
  const auto said = [&](const std::string& answer) {
    return run_in_terminal(command_line("teach teaching.avi --gauge gauge.yaml --out asked.yaml"),
                           taught().folder(), {}, {"right name? (yes or no) ", answer + "\n"});
  };
  const Finished wrong = said("no");
  EXPECT_EQ(wrong.status, 3) << wrong.out;
  EXPECT_THAT(wrong.out, HasSubstr("asked.png: is every lamp circled, with its right name?"));
  EXPECT_FALSE(std::filesystem::exists(file("asked.yaml")));
  EXPECT_EQ(said("yes").status, 0);
  std::string first;
  std::ifstream in(file("asked.yaml"));
  std::getline(in, first);
  EXPECT_EQ(first.find("Nobody"), std::string::npos) << first;
}

TEST_F(LiveTeaching, ACameraThatFailsSwitchesTheOutputOff) {
  test::SimulatedGenerator generator{std::make_shared<test::VirtualClock>(), {}};
  write_rig("{kind: scpi, address: \"" + generator.address() +
            "\", amplitude_v: 5, offset_v: 2.5, answer_ms: 50}");
  std::filesystem::create_directory(file("failing"));
  std::ofstream times(file("failing") / "times.txt");
  for (int i = 0; i < 60; ++i) {
    const std::filesystem::path picture = file("failing") / ("f" + std::to_string(100 + i) + ".png");
    if (i < 50)
      cv::imwrite(picture.string(), cv::Mat::zeros(16, 16, CV_8UC3));
    else
      std::ofstream(picture) << "no picture";
    times << i / 20.0 << "\n";
  }
  times.close();
  const Finished done = run_process(words("failing"), taught().folder());
  EXPECT_EQ(done.status, 3) << done.out;
  EXPECT_THAT(done.err, HasSubstr("cannot read the picture"));
  EXPECT_FALSE(generator.output_on());
  if (generator.output().empty()) GTEST_SKIP() << "this machine was too busy: the camera failed first";
}

TEST_F(LiveTeaching, NothingIsPlayedWhenTheCameraCannotBeOpened) {
  test::SimulatedGenerator generator{std::make_shared<test::VirtualClock>(), {}};
  write_rig("{kind: scpi, address: \"" + generator.address() + "\", amplitude_v: 5, offset_v: 2.5}");
  const Finished done = run_process(words("gone.avi"), taught().folder());
  EXPECT_EQ(done.status, 3);
  EXPECT_THAT(done.err, HasSubstr("there is no gone.avi"));
  EXPECT_TRUE(generator.messages().empty());
}

TEST_F(LiveTeaching, ARigFileOfAClipIsMadeAndNotProved) {
  const Finished made = run_process(
      command_line("rig --out of-clip.yaml --gauge gauge.yaml --clip teaching.avi --regions regions.yaml "
                   "--exposure-ms 4"),
      taught().folder());
  EXPECT_EQ(made.status, 0) << made.out << made.err;
  EXPECT_THAT(made.out, HasSubstr("A clip shows one run"));
  const CameraSettings camera = load_rig(file("of-clip.yaml")).watch.camera;
  EXPECT_FALSE(camera.live);
  EXPECT_EQ(camera.from, file("teaching.avi").string());
  EXPECT_EQ(camera.exposure_ms, 4);
}

TEST_F(LiveTeaching, ARigWithACameraThatIsNotThereIsNotWritten) {
  const Finished made = run_process(
      command_line(
          "rig --out eye.yaml --gauge gauge.yaml --source board --port no-such --watch camera --device "
          "/dev/null --json"),
      taught().folder());
  EXPECT_EQ(made.status, 2);
  EXPECT_THAT(made.err, HasSubstr("--json does not go with teaching a camera"));
  EXPECT_FALSE(std::filesystem::exists(file("eye.yaml")));
}

TEST_F(LiveTeaching, ASimulatedSourcePlaysToNoUnitThatACameraSees) {
  write_rig("{kind: simulated}");
  const Finished done = run_process(words("/dev/null"), taught().folder());
  EXPECT_EQ(done.status, 2);
  EXPECT_THAT(done.err, HasSubstr("live-rig.yaml:3:9: a simulated source plays nothing to the unit"));
}

}  // namespace
}  // namespace tachproof

// The camera's program and a few filmed runs; camera_clips films hundreds.
#include <gmock/gmock.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>

#include <jpeglib.h>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "bench/camera/region_sums.h"
#include "bench/camera/registration.h"
#include "bench/camera/repeated_frames.h"
#include "bench/files/regions.h"
#include "tests/bench/scratch_folder.h"
#include "tests/camera/clip_trials.h"
#include "tests/camera/matroska_times.h"
#include "tests/camera/shared_camera.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using testing::HasSubstr;

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

// Taught once for all tests below.
class FilmedRun : public testing::Test {
 protected:
  static const test::TaughtCamera& taught() { return test::shared_camera(); }
};

TEST_F(FilmedRun, OfAHealthyUnitPasses) {
  test::Plan plan = plain_plan(taught());
  plan.judge_too = plan.bare_too = true;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.judged_otherwise, "");
  EXPECT_EQ(trial.verdict, "pass") << trial.first_finding << trial.said;
  EXPECT_EQ(trial.looks.wrong, 0U);
  EXPECT_GT(trial.looks.looks, 2000U);
  EXPECT_LT(trial.looks.unclear, trial.looks.looks / 100);
  ASSERT_FALSE(trial.stamp_errors_ms.empty());
  for (const double error : trial.stamp_errors_ms) EXPECT_LE(std::abs(error), trial.stated_ms);

  // Without the sync lamp its time is told by its own changes: it may be late as a whole.
  const test::Trial::Bare& bare = trial.bare;
  EXPECT_EQ(bare.verdict, "undecided");
  EXPECT_EQ(bare.time_by, "lamp-changes");
  EXPECT_THAT(bare.finding, HasSubstr("there was no sync lamp, so the run's time was set by the unit's own"));
  EXPECT_EQ(bare.stamp_errors_ms.size(), trial.stamp_errors_ms.size());
  for (const double error : bare.stamp_errors_ms) EXPECT_LE(std::abs(error), bare.stated_ms);
}

TEST_F(FilmedRun, OfAUnitWithTheWrongColourFailsThoughTheCameraWasNudged) {
  test::Plan plan = plain_plan(taught());
  plan.behaviour.faults.push_back(
      {"wrong-colour", {{"lamp", "moss"}, {"to", "white"}, {"colour", "blue"}}, {}});
  plan.camera.shifts = {{0, 5.4, -3.2}};
  plan.kind = test::Clip::h264;
  plan.bare_too = true;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.verdict, "fail") << trial.first_finding << trial.said;
  EXPECT_EQ(trial.bare.verdict, "fail") << trial.bare.finding;
}

TEST_F(FilmedRun, OfABlinkThatTheFramesCannotFollowIsUndecided) {
  for (const double hz : {taught().camera().fps - 2, taught().camera().fps + 2}) {
    test::Plan plan = plain_plan(taught());
    plan.camera.exposure_ms = 2;
    plan.camera.brightness *= 1.2;
    plan.behaviour.faults.push_back({"blink-rate", {}, {{"hz", hz}}});
    const test::Trial trial = run_trial(taught(), plan);
    EXPECT_NE(trial.verdict, "pass") << hz;
    if (trial.verdict == "undecided") {
      EXPECT_THAT(trial.first_finding, HasSubstr("would look the same")) << hz;
    }
  }
}

// A fail where it is certain; a lamp that fades as well is undecided.
TEST_F(FilmedRun, OfAUnitInAColourThatWasNotTaughtNeverPasses) {
  test::Plan plan = plain_plan(taught());
  plan.camera.recoloured["brink cyan"] = {0.05F, 0.9F, 0.1F};
  plan.camera.recoloured["fern white"] = {0.1F, 0.45F, 1.0F};
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_NE(trial.verdict, "pass") << trial.first_finding;
}

TEST_F(FilmedRun, ByAClipThatRunsFastHasNoNumbersAndNamesTheRate) {
  test::Plan plan = plain_plan(taught());
  plan.camera.drift_ppm = -19608;
  plan.camera.lasts_s *= 1.02;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.verdict, "undecided");
  EXPECT_THAT(
      trial.first_finding,
      testing::ContainsRegex("the clip runs (1.9|2.0|2.1) % fast: 30 frames a second were stated, 30.6 fit"));
  EXPECT_TRUE(trial.beside_truth.empty());
}

TEST_F(FilmedRun, WithoutASyncLampIsUndecidedWhereTheClipMissesTheBeginning) {
  test::Plan plan = plain_plan(taught());
  plan.bare_too = true;
  plan.camera.run_starts_s = -7;
  plan.camera.lasts_s -= 7;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.verdict, "undecided");
  EXPECT_EQ(trial.bare.verdict, "undecided");
  EXPECT_THAT(trial.bare.finding, HasSubstr("misses an end"));
}

TEST_F(FilmedRun, WithACameraThatWasKnockedIsUndecided) {
  test::Plan plan = plain_plan(taught());
  plan.camera.shifts = {{8, 31, 4}};
  plan.kind = test::Clip::folder;
  const test::Trial trial = run_trial(taught(), plan);
  EXPECT_EQ(trial.verdict, "undecided");
  EXPECT_EQ(trial.status, 3);
}

TEST_F(FilmedRun, InH264TellsOfFramesThatStandForOthersWhileNoiseIsLeft) {
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

TEST_F(FilmedRun, IsReadOnWhenTheRoomsLightIsSwitched) {
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

TEST_F(FilmedRun, IsTimedByTheFileWhereThatHasTimes) {
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

TEST_F(FilmedRun, LacksTheFramesThatAreDamagedInTheFile) {
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
  EXPECT_GT(to_seconds(widest), 1.9 / camera.fps);
  // Nor are those told that were made from them.
  for (const test::ToldFrame& frame : frames) EXPECT_EQ(frame.letters, "......") << frame.index;
}

TEST_F(FilmedRun, IsWarnedOfBeforeItWhenTheFramesCannotFollowTheBlink) {
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
  EXPECT_THAT(run.err, HasSubstr("warning: lamps blink so fast that they are lit or dark for 25.0 ms only"));
}

TEST_F(FilmedRun, IsNotStartedWithoutWhatItNeeds) {
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

TEST_F(FilmedRun, RefusesASyncActionThatIsNotPressedAndFramesOfAnotherSize) {
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
              testing::AllOf(HasSubstr("the frames are 640x360 pixels"), HasSubstr("512x288")));
}

TEST_F(FilmedRun, IsVerifiedFromItsReadingsAndByTheClipWhereItIsThere) {
  const Finished judged = test::judge_plain_clip(taught(), "shown");
  ASSERT_EQ(judged.status, 0) << judged.out << judged.err;
  const auto verified = [&] {
    return run_process(command_line("report shown --verify"), taught().folder()).out;
  };
  EXPECT_THAT(verified(), testing::AllOf(HasSubstr("Judged again from the raw evidence: pass"),
                                         HasSubstr("frames read as they did")));
  std::filesystem::remove(taught().folder() / "shown.avi");
  EXPECT_THAT(verified(), testing::AllOf(HasSubstr("Judged again from the raw evidence: pass"),
                                         HasSubstr("its frames were")));
  std::filesystem::remove_all(taught().folder() / "shown");
}

TEST_F(FilmedRun, RegionsReadBackAsTheyWereWritten) {
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

// A frame of 1280x720 with 8 regions: ours beside OpenCV, in one run. The two
// sizes of JPEG are those of a quiet and of a noisy picture.
#include <benchmark/benchmark.h>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/videoio.hpp>
#include <stdexcept>

#include "bench/camera/region_sums.h"
#include "bench/camera/repeated_frames.h"

namespace {

using namespace tachproof;

constexpr int width = 1280, height = 720, regions_in_view = 8, video_frames = 60;

// `low`: the lowest region lies near the bottom; else all in the upper third.
std::vector<LampRegion> regions(bool low) {
  std::vector<LampRegion> all(regions_in_view);
  for (int i = 0; i < regions_in_view; ++i) {
    LampRegion& region = all[static_cast<std::size_t>(i)];
    region.x = 300 + 90.0 * i;
    region.y = low ? 200 + 55.0 * i : 120 + 8.0 * i;
    region.radius = 14;
  }
  return all;
}

// Soft shapes of this many pixels, with as much noise as gives the wanted size.
cv::Mat picture(double noise, int shape = 80, std::uint64_t seed = 3) {
  cv::Mat small(height / shape, width / shape, CV_8UC3), all, grain(height, width, CV_16SC3), rough;
  cv::theRNG().state = seed;
  cv::randu(small, 20, 200);
  cv::resize(small, all, {width, height}, 0, 0, cv::INTER_CUBIC);
  cv::randn(grain, 0, noise);
  all.convertTo(rough, CV_16S);
  rough += grain;
  rough.convertTo(all, CV_8U);
  return all;
}

std::vector<std::uint8_t> jpeg_of_about(std::size_t bytes) {
  std::vector<std::uint8_t> jpeg;
  const bool quiet = bytes < 100'000;
  for (double noise = 0; noise < 40 && jpeg.size() < bytes; noise += 0.1)
    cv::imencode(".jpg", picture(noise, quiet ? 160 : 80), jpeg, {cv::IMWRITE_JPEG_QUALITY, quiet ? 70 : 85});
  if (jpeg.size() < bytes || jpeg.size() > bytes + bytes / 50) throw std::logic_error("not of that size");
  return jpeg;
}

double all_light(const std::vector<RegionSums>& sums) {
  double light = 0;
  for (const RegionSums& sum : sums) light += mean_light(sum.core).g;
  return light;
}

void ours(benchmark::State& state, std::size_t bytes, bool low) {
  const std::vector<std::uint8_t> jpeg = jpeg_of_about(bytes);
  RegionSummer summer(regions(low), width, height);
  for (auto _ : state) benchmark::DoNotOptimize(all_light(*summer.of_jpeg(jpeg)));
  state.counters["KB"] = static_cast<double>(jpeg.size()) / 1000;
}

// What one would write with OpenCV: decode, and the mean of each region.
void opencv(benchmark::State& state, std::size_t bytes, bool low) {
  const std::vector<std::uint8_t> jpeg = jpeg_of_about(bytes);
  const std::vector<LampRegion> all = regions(low);
  for (auto _ : state) {
    const cv::Mat decoded = cv::imdecode(jpeg, cv::IMREAD_COLOR);
    double light = 0;
    for (const LampRegion& region : all) {
      const int r = static_cast<int>(region.radius);
      light += cv::mean(
          decoded(cv::Rect(static_cast<int>(region.x) - r, static_cast<int>(region.y) - r, 2 * r, 2 * r)))[1];
    }
    benchmark::DoNotOptimize(light);
  }
  state.counters["KB"] = static_cast<double>(jpeg.size()) / 1000;
}

const std::string& clip() {
  static const std::string path = [] {
    const std::string name = "/tmp/tachproof-camera-bench.mp4";
    cv::VideoWriter writer(name, cv::CAP_FFMPEG, cv::VideoWriter::fourcc('a', 'v', 'c', '1'), 30,
                           {width, height});
    for (int i = 0; i < video_frames; ++i)
      writer.write(picture(4, 80, static_cast<std::uint64_t>(3 + i % 7)));
    return name;
  }();
  return path;
}

// OpenCV decoding alone, and all that we do to every frame; the decoders' threads count.
void h264_opencv(benchmark::State& state) {
  const std::string& file = clip();  // made before the clock starts
  cv::Mat picture;
  for (auto _ : state) {
    cv::VideoCapture capture(file, cv::CAP_FFMPEG);
    while (capture.read(picture)) benchmark::DoNotOptimize(picture.data);
  }
  state.SetItemsProcessed(state.iterations() * video_frames);
}

void h264_ours(benchmark::State& state) {
  RegionSummer summer(regions(true), width, height);
  SourceSettings settings;
  settings.from = clip();
  for (auto _ : state) {
    const std::unique_ptr<FrameSource> source = open_frames(settings);
    RepeatedFrames repeated(source->repeats_show());
    Frame frame;
    while (source->next(frame)) {
      benchmark::DoNotOptimize(repeated.is_last_again(frame));
      benchmark::DoNotOptimize(all_light(summer.of_planes(frame.planes)));
    }
  }
  state.SetItemsProcessed(state.iterations() * video_frames);
}

BENCHMARK_CAPTURE(ours, 33KB_high, 33'000, false)->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(ours, 33KB_low, 33'000, true)->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(opencv, 33KB, 33'000, true)->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(ours, 200KB_high, 200'000, false)->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(ours, 200KB_low, 200'000, true)->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(opencv, 200KB, 200'000, true)->Unit(benchmark::kMillisecond);
BENCHMARK(h264_opencv)->MeasureProcessCPUTime()->Unit(benchmark::kMillisecond);
BENCHMARK(h264_ours)->MeasureProcessCPUTime()->Unit(benchmark::kMillisecond);

}  // namespace

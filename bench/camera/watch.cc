#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <vector>

#include "bench/camera/camera.h"
#include "bench/camera/region_sums.h"
#include "bench/camera/registration.h"
#include "bench/camera/repeated_frames.h"
#include "bench/files/regions.h"
#include "bench/rigs/camera/camera_lines.h"

namespace tachproof {
namespace {

constexpr double between_checks_s = 0.25;
constexpr std::size_t most_between_checks = 16;
constexpr double still_px = 1;       // less than this between two checks: nothing moved
constexpr double same_light = 1.04;  // a ratio; the same of the light on the dial

class Watch {
 public:
  Watch(const SourceSettings& from, const std::string& regions_file, const WatchSettings& settings)
      : least_level_(settings.least_level),
        regions_(load_regions(regions_file)),
        lamps_(regions_.all()),
        source_(open_frames(of_size(from, regions_))),
        dial_(regions_),
        summer_(lamps_, regions_.width, regions_.height, settings.least_level < 1),
        batch_(settings.at_once > 0
                   ? settings.at_once
                   : std::clamp<std::size_t>(
                         static_cast<std::size_t>(between_checks_s / to_seconds(source_->period())), 1,
                         most_between_checks)),
        repeated_(source_->repeats_show()) {}

  void run() {
    say(fmt::format("tachproof-camera 1\nabout {}\nperiod {}\n", source_->about(), source_->period()));
    std::vector<Frame> held;
    bool more = true;
    while (more && !std::ferror(stdout)) {
      held.resize(batch_);
      std::size_t n = 0;
      while (n < batch_ && (more = source_->next(held[n]))) ++n;
      held.resize(n);
      if (n > 0) tell(held);
    }
    say("end\n");
  }

 private:
  // A device is asked for what was taught.
  static SourceSettings of_size(SourceSettings from, const Regions& regions) {
    from.width = regions.width;
    from.height = regions.height;
    return from;
  }

  // Where the dial is, and in what light, is looked for in the last of a few
  // frames: when nothing has changed since the last of those before, it was so
  // all the time. Else each frame is looked at by itself.
  void tell(const std::vector<Frame>& frames) {
    const cv::Mat last = to_grey(frames.back());
    check_size(last.size());
    const std::optional<DialPlace> now = dial_.find(last);
    const bool still =
        now && last_ && std::hypot(now->right - last_->right, now->down - last_->down) < still_px &&
        std::max(now->ambient, last_->ambient) < same_light * std::min(now->ambient, last_->ambient);
    for (const Frame& frame : frames)
      tell(frame, still || &frame == &frames.back() ? now : dial_.find(to_grey(frame)));
    last_ = now;
    std::fflush(stdout);
  }

  void check_size(const cv::Size& size) const {
    if (size.empty() || (size.width == regions_.width && size.height == regions_.height)) return;
    throw CameraError(fmt::format(
        "the frames are {}x{} pixels, and the lamps were taught at {}x{}: film at that size, or teach again",
        size.width, size.height, regions_.width, regions_.height));
  }

  void tell(const Frame& frame, const std::optional<DialPlace>& place) {
    const bool same = repeated_.is_last_again(frame);
    const double moved = place ? std::hypot(place->right, place->down) : 0;
    if (!place || moved > regions_.within_px) {
      if (!frame.jpeg.empty() && summer_.of_jpeg(frame.jpeg) == nullptr)
        say(fmt::format(
            "moved {} the frame is damaged or cut off: check that the file is whole, or copy it again\n",
            frame.at));
      else
        say(place ? fmt::format(
                        "moved {} the camera has moved by {:.0f} pixels, and {:.0f} are allowed: fix it "
                        "in its place and film again\n",
                        frame.at, moved, regions_.within_px)
                  : fmt::format("moved {} the dial was not found: look whether the camera was moved, turned "
                                "or covered, "
                                "and film again\n",
                                frame.at));
      return;
    }
    summer_.shift(static_cast<int>(std::lround(place->right)), static_cast<int>(std::lround(place->down)));
    const std::vector<RegionSums>* sums = frame.planes.owner   ? &summer_.of_planes(frame.planes)
                                          : frame.jpeg.empty() ? &summer_.of_picture(frame.picture)
                                                               : summer_.of_jpeg(frame.jpeg);
    const Light ambient{place->ambient, place->ambient, place->ambient};
    FrameReading reading{frame.at, same, std::vector<LampLook>(lamps_.size())};
    const double level = sums != nullptr ? unit_level(*sums, ambient) : 1;
    for (std::size_t i = 0; i < lamps_.size() && sums != nullptr; ++i) {
      reading.looks[i] = look_at(lamps_[i].looks, (*sums)[i].core, (*sums)[i].rim, ambient,
                                 lamps_[i].lamp.empty() ? 1 : level);
      if (least_level_ < 1) reading.looks[i].flux = flux_of(lamps_[i].looks, (*sums)[i].core, ambient);
    }
    say(frame_line(reading) + "\n");
  }

  // A unit dims all its lamps alike: the brightest says how bright the others may be at most. The bench's own
  // sync lamp is none of them.
  double unit_level(const std::vector<RegionSums>& sums, const Light& ambient) const {
    double brightest = least_level_;
    for (std::size_t i = 0; i < lamps_.size() && brightest < 1; ++i)
      if (!lamps_[i].lamp.empty())
        brightest = std::max(brightest, light_beside_taught(lamps_[i].looks, sums[i].core, ambient));
    return std::min(brightest, 1.0);
  }

  static void say(const std::string& line) { std::fputs(line.c_str(), stdout); }

  double least_level_;
  Regions regions_;
  std::vector<LampRegion> lamps_;
  std::unique_ptr<FrameSource> source_;
  Registration dial_;
  RegionSummer summer_;
  std::size_t batch_;
  std::optional<DialPlace> last_;
  RepeatedFrames repeated_;
};

}  // namespace

void watch(const SourceSettings& from, const std::string& regions_file, const WatchSettings& settings) {
  Watch(from, regions_file, settings).run();
}

}  // namespace tachproof

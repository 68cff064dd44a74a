#include "bench/camera/lamp_finder.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>

#include "bench/camera/frame_source.h"
#include "bench/camera/region_sums.h"

namespace tachproof {
namespace {

constexpr double least_contrast = 25;     // counts, of a lamp against its being dark
constexpr double part_of_lamp = 0.35;     // of its peak: what belongs to it
constexpr int least_area = 12;            // pixels
constexpr double radius_with_halo = 1.3;  // beside that of the blob's area
constexpr double most_glow = 0.12;        // of its own light, from its neighbours while dark

bool lit(const Gauge& gauge, std::size_t window, std::size_t lamp) {
  const Cue& cue = gauge.windows[window].cue;
  return ((cue.steady | cue.blinking) & gauge.lamp_channels(lamp)) != 0;
}

cv::Mat brightness(const cv::Mat& bgr) {
  std::vector<cv::Mat> channels;
  cv::split(bgr, channels);
  cv::Mat most = cv::max(cv::max(channels[0], channels[1]), channels[2]);
  cv::GaussianBlur(most, most, {3, 3}, 0);
  cv::Mat out;
  most.convertTo(out, CV_32F);
  return out;
}

struct Blob {
  double x = 0, y = 0, area = 0, weight = 0;
};

std::vector<Blob> blobs_of(const cv::Mat& margin) {
  double peak = 0;
  cv::minMaxLoc(margin, nullptr, &peak);
  std::vector<Blob> blobs;
  if (peak < least_contrast) return blobs;
  cv::Mat labels, stats, centroids;
  const cv::Mat mask = margin > part_of_lamp * peak;
  const int n = cv::connectedComponentsWithStats(mask, labels, stats, centroids, 8, CV_32S);
  for (int i = 1; i < n; ++i) {
    const int area = stats.at<int>(i, cv::CC_STAT_AREA);
    if (area < least_area) continue;
    const cv::Rect box(stats.at<int>(i, cv::CC_STAT_LEFT), stats.at<int>(i, cv::CC_STAT_TOP),
                       stats.at<int>(i, cv::CC_STAT_WIDTH), stats.at<int>(i, cv::CC_STAT_HEIGHT));
    const double weight = cv::mean(margin(box), labels(box) == i)[0] * area;
    blobs.push_back(
        {centroids.at<double>(i, 0), centroids.at<double>(i, 1), static_cast<double>(area), weight});
  }
  std::sort(blobs.begin(), blobs.end(), [](const Blob& a, const Blob& b) { return a.weight > b.weight; });
  return blobs;
}

LampRegion region_at(const std::string& lamp, const Blob& blob) {
  LampRegion region;
  region.lamp = lamp;
  region.x = blob.x;
  region.y = blob.y;
  region.radius = std::max(4.0, radius_with_halo * std::sqrt(blob.area / CV_PI));
  return region;
}

RegionSums sums_of(const LampRegion& region, const cv::Mat& picture) {
  return RegionSummer({region}, picture.cols, picture.rows).of_picture(picture)[0];
}

Light less(const Light& a, const Light& b) { return {a.r - b.r, a.g - b.g, a.b - b.b}; }

ColourReference learn(const LampRegion& region, const cv::Mat& picture) {
  const RegionSums sums = sums_of(region, picture);
  ColourReference colour;
  colour.core = less(mean_light(sums.core), region.looks.core_dark);
  colour.halo = less(halo_light(sums.core), region.looks.core_dark);
  colour.rim = less(mean_light(sums.rim), region.looks.rim_dark).sum() / std::max(colour.core.sum(), 1e-6);
  return colour;
}

void learn_dark(const cv::Mat& picture, LampRegion& region) {
  const RegionSums sums = sums_of(region, picture);
  region.looks.core_dark = mean_light(sums.core);
  region.looks.rim_dark = mean_light(sums.rim);
}

std::string said(const LampRegion& region, const LampLook& look) {
  if (look.state == LampLook::State::dark) return "dark";
  return look.state == LampLook::State::lit ? region.colours[look.colour] : "unclear";
}

}  // namespace

std::vector<LampRegion> find_lamps(const Gauge& gauge, const std::vector<WindowPicture>& pictures) {
  std::vector<cv::Mat> bright;
  for (const WindowPicture& picture : pictures) bright.push_back(brightness(picture.lit()));
  // Lamps by the windows that light them.
  std::map<std::vector<bool>, std::vector<std::size_t>> groups;
  for (std::size_t lamp = 0; lamp < gauge.lamps.size(); ++lamp) {
    std::vector<bool> pattern;
    for (const WindowPicture& picture : pictures) pattern.push_back(lit(gauge, picture.window, lamp));
    if (std::count(pattern.begin(), pattern.end(), true) == 0)
      throw CameraError("lamp " + gauge.lamps[lamp].id +
                        " is dark in every window that was shown: show one that lights it");
    if (std::count(pattern.begin(), pattern.end(), false) == 0)
      throw CameraError("lamp " + gauge.lamps[lamp].id +
                        " is lit in every window that was shown: show one that leaves it dark");
    groups[pattern].push_back(lamp);
  }
  std::vector<LampRegion> regions(gauge.lamps.size());
  for (const auto& [pattern, lamps] : groups) {
    cv::Mat darkest_lit, brightest_dark;
    for (std::size_t w = 0; w < pattern.size(); ++w) {
      cv::Mat& all = pattern[w] ? darkest_lit : brightest_dark;
      if (all.empty())
        all = bright[w].clone();
      else
        all = pattern[w] ? cv::Mat(cv::min(all, bright[w])) : cv::Mat(cv::max(all, bright[w]));
    }
    std::vector<Blob> blobs = blobs_of(darkest_lit - brightest_dark);
    std::string names;
    for (const std::size_t lamp : lamps) names += (names.empty() ? "" : ", ") + gauge.lamps[lamp].id;
    if (blobs.size() < lamps.size())
      throw CameraError(fmt::format(
          "{} of {} lamps were found that light in the same windows ({}): bring all of them into view, "
          "and shorten the exposure if they run together",
          blobs.size(), lamps.size(), names));
    if (blobs.size() > lamps.size() && blobs[lamps.size()].weight > 0.5 * blobs[lamps.size() - 1].weight)
      throw CameraError(
          fmt::format("{} places light in the windows of {}, which {}: look for reflections, and "
                      "shade the gauge",
                      blobs.size(), names,
                      lamps.size() == 1 ? "is one lamp" : fmt::format("are {} lamps", lamps.size())));
    blobs.resize(lamps.size());
    std::sort(blobs.begin(), blobs.end(), [](const Blob& a, const Blob& b) { return a.x < b.x; });
    for (std::size_t i = 0; i < lamps.size(); ++i)
      regions[lamps[i]] = region_at(gauge.lamps[lamps[i]].id, blobs[i]);
  }
  return regions;
}

LampRegion find_sync(const cv::Mat& off, const cv::Mat& on) {
  const std::vector<Blob> blobs = blobs_of(brightness(on) - brightness(off));
  if (blobs.empty())
    throw CameraError("the sync lamp was not seen to flash: bring it into view, and check its wire");
  return region_at("sync", blobs[0]);
}

void keep_apart(std::vector<LampRegion*> regions) {
  for (LampRegion* region : regions)
    for (const LampRegion* other : regions)
      if (other != region)
        region->radius =
            std::min(region->radius, std::hypot(region->x - other->x, region->y - other->y) / (rim_to + 1));
}

void learn_looks(const Gauge& gauge, const std::vector<WindowPicture>& pictures,
                 std::vector<LampRegion>& regions) {
  for (std::size_t lamp = 0; lamp < regions.size(); ++lamp) {
    LampRegion& region = regions[lamp];
    cv::Mat dark;  // the darkest: without the neighbours' glow
    for (const WindowPicture& picture : pictures)
      if (!lit(gauge, picture.window, lamp))
        dark = dark.empty() ? picture.mean : cv::Mat(cv::min(dark, picture.mean));
    learn_dark(dark, region);
    for (const std::string& colour : gauge.lamps[lamp].colours) {
      const Channels channel = gauge.channel(region.lamp, colour);
      const WindowPicture* steady = nullptr;
      const WindowPicture* any = nullptr;
      for (const WindowPicture& picture : pictures) {
        const Cue& cue = gauge.windows[picture.window].cue;
        if (cue.steady & channel) steady = &picture;
        if ((cue.steady | cue.blinking) & channel) any = &picture;
      }
      if (any == nullptr) continue;  // never shown: not watched for
      region.looks.colours.push_back(learn(region, steady != nullptr ? steady->mean : any->lit()));
      region.colours.push_back(colour);
    }
  }
  // Would all of it be read back?
  for (const WindowPicture& picture : pictures)
    for (std::size_t lamp = 0; lamp < regions.size(); ++lamp) {
      const LampRegion& region = regions[lamp];
      const Cue& cue = gauge.windows[picture.window].cue;
      std::string wanted = "dark";
      for (const std::string& colour : region.colours)
        if ((cue.steady | cue.blinking) & gauge.channel(region.lamp, colour)) wanted = colour;
      const RegionSums sums = sums_of(region, picture.lit());
      const LampLook look = look_at(region.looks, sums.core, sums.rim, {1, 1, 1});
      const std::string window = gauge.windows[picture.window].name;
      if (said(region, look) != wanted)
        throw CameraError(
            fmt::format("lamp {} should be {} in window {} and looks {}. Shorten the exposure if it is "
                        "overexposed; shade it if a neighbour or a reflection shines on it",
                        region.lamp, wanted, window, said(region, look)));
      const double glow = less(mean_light(sums.core), region.looks.core_dark).sum();
      for (const ColourReference& colour : region.looks.colours)
        if (wanted == "dark" && glow > most_glow * colour.core.sum())
          throw CameraError(fmt::format(
              "lamp {} is dark in window {}, and its neighbours' glow on it is {:.0f} % of its own light, "
              "where "
              "{:.0f} % is the most: shade it, shorten the exposure, or film from nearer",
              region.lamp, window, 100 * glow / std::max(colour.core.sum(), 1e-9), 100 * most_glow));
    }
}

void learn_sync(const cv::Mat& off, const cv::Mat& on, LampRegion& sync) {
  learn_dark(off, sync);
  sync.looks.colours.push_back(learn(sync, on));
  sync.colours.push_back("lit");
}

}  // namespace tachproof

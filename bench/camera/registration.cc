#include "bench/camera/registration.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "bench/camera/frame_source.h"
#include "core/camera/lamp_colour.h"

namespace tachproof {
namespace {

constexpr double least_likeness = 0.6;
constexpr double agreement_px = 2;
constexpr std::size_t wanted_patches = 8;
constexpr int beyond = 4;  // searched further than allowed, so that "too far" can be seen

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double light_of(const cv::Mat& grey) {
  PixelSums sums;
  sums.pixels = 1000;
  sums.y = static_cast<std::uint64_t>(cv::mean(grey)[0] * 1000);
  sums.cb = sums.cr = 128'000;
  return mean_light(sums).g;
}

// The top of a parabola through three equally spaced values, -0.5..0.5 of the middle.
double top_of(double before, double at, double after) {
  const double bend = before - 2 * at + after;
  return bend < 0 ? std::clamp((before - after) / (2 * bend), -0.5, 0.5) : 0;
}

}  // namespace

Registration::Registration(const Regions& regions)
    : reach_(static_cast<int>(std::ceil(regions.within_px)) + beyond) {
  const cv::Mat dial = cv::imread(regions.dial_picture, cv::IMREAD_GRAYSCALE);
  if (dial.empty())
    throw CameraError("cannot read the dial's picture " + regions.dial_picture +
                      ": teach again if it is lost");
  if (dial.cols != regions.width || dial.rows != regions.height)
    throw CameraError(
        fmt::format("the dial's picture {} is {}x{} pixels, and the lamps were taught at {}x{}: teach "
                    "again",
                    regions.dial_picture, dial.cols, dial.rows, regions.width, regions.height));
  const cv::Rect frame(0, 0, dial.cols, dial.rows);
  for (const auto& [x, y] : regions.patches) {
    const cv::Rect square(x, y, patch_px, patch_px);
    if ((square & frame) != square)
      throw CameraError(fmt::format("the patch at {}, {} lies outside the dial's picture {}: teach again", x,
                                    y, regions.dial_picture));
    const cv::Mat picture = dial(square).clone();
    patches_.push_back({picture, square.tl(), light_of(picture)});
  }
}

std::optional<DialPlace> Registration::find(const cv::Mat& grey) const {
  std::vector<double> rights, downs, ambients;
  const cv::Rect frame(0, 0, grey.cols, grey.rows);
  for (const Patch& patch : patches_) {
    const cv::Rect area =
        cv::Rect(patch.at.x - reach_, patch.at.y - reach_, patch_px + 2 * reach_, patch_px + 2 * reach_) &
        frame;
    if (area.width < patch_px || area.height < patch_px) continue;
    cv::Mat likeness;
    cv::matchTemplate(grey(area), patch.picture, likeness, cv::TM_CCOEFF_NORMED);
    double best = 0;
    cv::Point at;
    cv::minMaxLoc(likeness, nullptr, &best, nullptr, &at);
    if (best < least_likeness) continue;
    double fine_x = 0, fine_y = 0;
    if (at.x > 0 && at.x + 1 < likeness.cols)
      fine_x = top_of(likeness.at<float>(at.y, at.x - 1), best, likeness.at<float>(at.y, at.x + 1));
    if (at.y > 0 && at.y + 1 < likeness.rows)
      fine_y = top_of(likeness.at<float>(at.y - 1, at.x), best, likeness.at<float>(at.y + 1, at.x));
    rights.push_back(area.x + at.x + fine_x - patch.at.x);
    downs.push_back(area.y + at.y + fine_y - patch.at.y);
    const cv::Rect there(area.x + at.x, area.y + at.y, patch_px, patch_px);
    ambients.push_back(light_of(grey(there)) / std::max(patch.light, 1e-4));
  }
  if (2 * rights.size() < patches_.size() || rights.size() < 3) return std::nullopt;
  const DialPlace place{median(rights), median(downs), median(ambients)};
  std::size_t agree = 0;
  for (std::size_t i = 0; i < rights.size(); ++i)
    agree += std::hypot(rights[i] - place.right, downs[i] - place.down) <= agreement_px;
  if (2 * agree < patches_.size() || agree < 3) return std::nullopt;
  return place;
}

std::vector<std::array<int, 2>> choose_patches(const cv::Mat& grey, const cv::Mat& keep_out) {
  cv::Mat corners, usable;
  cv::cornerMinEigenVal(grey, corners, 5);
  // What a whole square offers, where nothing of it is to be kept out of.
  cv::Mat offer;
  cv::blur(corners, offer, {patch_px, patch_px});
  cv::Mat blocked;
  cv::dilate(keep_out, blocked, cv::getStructuringElement(cv::MORPH_RECT, {patch_px + 8, patch_px + 8}));
  offer.setTo(0, blocked);
  const int margin = patch_px / 2 + 16;
  cv::Mat inside = cv::Mat::zeros(grey.size(), CV_8U);
  if (grey.cols <= 2 * margin || grey.rows <= 2 * margin) return {};
  inside(cv::Rect(margin, margin, grey.cols - 2 * margin, grey.rows - 2 * margin)).setTo(255);
  std::vector<std::array<int, 2>> patches;
  double first = 0;
  while (patches.size() < wanted_patches) {
    double best = 0;
    cv::Point at;
    cv::minMaxLoc(offer, nullptr, &best, nullptr, &at, inside);
    if (patches.empty()) first = best;
    if (best <= 0 || best < 0.05 * first) break;
    patches.push_back({at.x - patch_px / 2, at.y - patch_px / 2});
    cv::circle(offer, at, patch_px * 3 / 2, 0, cv::FILLED);
  }
  return patches;
}

}  // namespace tachproof

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <limits>
#include <map>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "bench/camera/camera.h"
#include "bench/camera/lamp_finder.h"
#include "bench/camera/registration.h"
#include "bench/files/regions.h"
#include "core/base/text.h"
#include "core/camera/lamp_colour.h"
#include "core/camera/teaching.h"
#include "core/judge/expectation.h"

namespace tachproof {
namespace {

constexpr int small_width = 160;       // pictures in which change is looked for
constexpr int changed_counts = 14;     // a pixel of those, at least,
constexpr double least_changed = 2.5;  // pixels, in a frame where a lamp changes
constexpr std::size_t least_frames = 10, least_windows = 2, least_patches = 3;
// and by more of its light than a lamp may ripple: a brighter code to the darkest one that is
// no change from it.
std::array<std::uint8_t, 256> unchanged_down_to() {
  std::array<std::uint8_t, 256> darkest{};
  for (int code = 0; code < 256; ++code) {
    int down = std::max(0, code - changed_counts);
    while (down > 0 && light_of_code(down) > (1 - steady_ripple) * light_of_code(code)) --down;
    darkest[static_cast<std::size_t>(code)] = static_cast<std::uint8_t>(down);
  }
  return darkest;
}

// Pixels in which one of two small pictures differs so much from the other.
double pixels_changed(const cv::Mat& a, const cv::Mat& b) {
  static const std::array<std::uint8_t, 256> darkest = unchanged_down_to();
  double changed = 0;
  for (int y = 0; y < a.rows; ++y) {
    const std::uint8_t *one = a.ptr(y), *other = b.ptr(y);
    for (int x = 0; x < a.cols; ++x)
      changed += std::min(one[x], other[x]) < darkest[std::max(one[x], other[x])];
  }
  return changed;
}
constexpr Nanos alignment_step = 10 * ns_per_ms;

// A span of the run in which one window must be shown and the sync lamp does not change.
struct Quiet {
  Nanos from = 0, to = 0;
  std::size_t window = 0;
  bool sync_on = false;
};

std::vector<Quiet> quiet_spans(const Gauge& gauge, const Profile& profile, const std::string& sync) {
  std::vector<std::pair<Nanos, Nanos>> flashes;
  for (const Action& action : profile.actions())
    if (const Press* press = std::get_if<Press>(&action.what); press != nullptr && press->action == sync)
      flashes.emplace_back(action.at, action.at + press->lasts);
  std::vector<Quiet> spans;
  const std::vector<Reach> reaches = expect(gauge, profile).reaches;
  for (std::size_t i = 0; i < reaches.size(); ++i) {
    if (reaches[i].lowest != reaches[i].highest) continue;
    Nanos from = reaches[i].from;
    const Nanos to = i + 1 < reaches.size() ? reaches[i + 1].from : profile.duration();
    for (const auto& [on, off] : flashes) {
      if (off <= from || on >= to) continue;
      spans.push_back({from, on, reaches[i].lowest, false});
      spans.push_back({on, std::min(off, to), reaches[i].lowest, true});
      from = off;
    }
    spans.push_back({from, to, reaches[i].lowest, false});
  }
  std::erase_if(spans, [](const Quiet& q) { return q.to <= q.from; });
  return spans;
}

class Teacher {
 public:
  explicit Teacher(const TeachSettings& settings)
      : settings_(settings), gauge_(load_gauge(settings.gauge_file)), profile_(profile()) {}

  void run() {
    look_for_changes();
    const Nanos start = align();
    collect(start);
    Regions regions = learn();
    write(regions);
  }

 private:
  Profile profile() const {
    if (settings_.scenario_file.empty()) return Profile(teaching_steps(gauge_, settings_.sync));
    return Profile(load_scenario(settings_.scenario_file).steps);
  }

  // How much of each frame differs from the one before.
  void look_for_changes() {
    const auto source = open_frames(settings_.from);
    period_ = source->period();
    Frame frame;
    cv::Mat last;
    while (source->next(frame)) {
      cv::Mat grey = to_grey(frame), now;
      if (grey.empty())
        throw CameraError(
            fmt::format("frame {} of {} cannot be decoded: check that it is whole, or copy it again",
                        times_.size(), settings_.from.from));
      cv::resize(grey, now, {small_width, std::max(1, grey.rows * small_width / grey.cols)}, 0, 0,
                 cv::INTER_AREA);
      double changed = 0;
      if (!last.empty()) changed = pixels_changed(now, last);
      times_.push_back(frame.at);
      changed_.push_back(changed >= least_changed);
      last = now;
    }
    if (times_.size() < least_frames)
      throw CameraError(fmt::format("{} has {} frames, and {} are needed: film the whole scenario",
                                    settings_.from.from, times_.size(), least_frames));
  }

  // The camera's time at the run's start: where nothing changes while nothing
  // should, and something does in between. The middle of all that fit best.
  Nanos align() {
    quiet_ = quiet_spans(gauge_, profile_, settings_.sync);
    const Nanos margin = 2 * period_;
    std::vector<Quiet> still;
    for (const Quiet& span : quiet_)
      if (gauge_.windows[span.window].cue.blinking == 0) still.push_back(span);
    const Nanos filmed = times_.back() - times_.front();
    if (profile_.duration() > filmed + 2 * ns_per_s)
      throw CameraError(fmt::format("{} lasts {}, and the scenario {}: film all of it", settings_.from.from,
                                    say_span(filmed), say_span(profile_.duration())));
    Nanos first_best = 0, last_best = 0;
    double best = std::numeric_limits<double>::infinity();
    for (Nanos start = times_.front() - ns_per_s; start + profile_.duration() <= times_.back() + ns_per_s;
         start += alignment_step) {
      double wrong = 0;
      std::size_t frame = 0;
      Nanos last_end = std::numeric_limits<Nanos>::min();
      for (const Quiet& span : still) {
        bool any_between = false;
        for (; frame < times_.size() && times_[frame] < start + span.from + margin; ++frame)
          any_between = any_between || changed_[frame];
        if (last_end != std::numeric_limits<Nanos>::min() && !any_between) wrong += 1;
        for (; frame < times_.size() && times_[frame] < start + span.to - margin; ++frame)
          wrong += changed_[frame];
        last_end = span.to;
      }
      if (wrong < best) {
        best = wrong;
        first_best = start;
      }
      if (wrong == best) last_best = start;
    }
    if (!(best <= 0.1 * static_cast<double>(still.size())) || last_best - first_best > 2 * ns_per_s)
      throw CameraError(fmt::format(
          "the changes in {} do not fit the scenario's {} windows. Check that the clip shows all of the "
          "scenario on this gauge, and that the camera stood still. If dimmed lamps flicker in the "
          "clip, film with a longer exposure",
          settings_.from.from, still.size()));
    return first_best + (last_best - first_best) / 2;
  }

  struct Sum {
    cv::Mat total, brightest;
    int frames = 0;
  };

  void collect(Nanos start) {
    const auto source = open_frames(settings_.from);
    const Nanos margin = 3 * period_;
    Frame frame;
    while (source->next(frame)) {
      const Nanos at = frame.at - start;
      const auto span = std::find_if(quiet_.begin(), quiet_.end(), [&](const Quiet& q) {
        return at >= q.from + margin && at < q.to - margin;
      });
      if (span == quiet_.end()) continue;
      const cv::Mat picture = to_picture(frame);
      Sum& sum = sums_[{span->window, span->sync_on}];
      if (sum.frames++ == 0) {
        picture.convertTo(sum.total, CV_32F);
        sum.brightest = picture.clone();
      } else {
        cv::Mat as_float;
        picture.convertTo(as_float, CV_32F);
        sum.total += as_float;
        cv::max(sum.brightest, picture, sum.brightest);
      }
    }
  }

  static cv::Mat mean_of(const Sum& sum) {
    cv::Mat mean;
    sum.total.convertTo(mean, CV_8U, 1.0 / sum.frames);
    return mean;
  }

  Regions learn() {
    std::vector<WindowPicture> pictures;
    for (const auto& [key, sum] : sums_) {
      if (key.second) continue;
      const bool blinks = gauge_.windows[key.first].cue.blinking != 0;
      pictures.push_back({key.first, mean_of(sum), blinks ? sum.brightest : cv::Mat()});
    }
    if (pictures.size() < least_windows)
      throw CameraError(fmt::format(
          "{} windows were shown for long enough to learn from, and {} are needed: hold each for longer",
          pictures.size(), least_windows));
    Regions regions;
    regions.lamps = find_lamps(gauge_, pictures);
    cv::Mat sync_off, sync_on;
    for (const auto& [key, sum] : sums_)
      if (key.second && sums_.count({key.first, false}) > 0) {
        sync_on = mean_of(sum);
        sync_off = mean_of(sums_.at({key.first, false}));
      }
    if (!sync_on.empty()) regions.sync = find_sync(sync_off, sync_on);
    std::vector<LampRegion*> all;
    for (LampRegion& region : regions.lamps) all.push_back(&region);
    if (regions.sync) all.push_back(&*regions.sync);
    keep_apart(all);
    learn_looks(gauge_, pictures, regions.lamps);
    if (regions.sync) learn_sync(sync_off, sync_on, *regions.sync);

    regions.width = pictures[0].mean.cols;
    regions.height = pictures[0].mean.rows;
    regions.within_px = settings_.within_px;
    cv::Mat dark = pictures[0].mean.clone();
    marked_ = pictures[0].lit().clone();
    for (const WindowPicture& picture : pictures) {
      cv::min(dark, picture.mean, dark);
      cv::max(marked_, picture.lit(), marked_);
    }
    cv::cvtColor(dark, dial_, cv::COLOR_BGR2GRAY);
    cv::Mat keep_out = cv::Mat::zeros(dial_.size(), CV_8U);
    for (const LampRegion& region : regions.all())
      cv::circle(keep_out, cv::Point2d(region.x, region.y), static_cast<int>(rim_to * region.radius), 255,
                 cv::FILLED);
    regions.patches = choose_patches(dial_, keep_out);
    if (regions.patches.size() < least_patches)
      throw CameraError(
          fmt::format("the dial has {} places with marks by which it is found again, and {} are "
                      "needed: film more of the dial, or stick marks beside the lamps",
                      regions.patches.size(), least_patches));
    return regions;
  }

  void write(Regions& regions) {
    const std::filesystem::path out = settings_.out;
    const std::string stem = (out.parent_path() / out.stem()).string();
    regions.dial_picture = stem + "-dial.png";
    for (const LampRegion& region : regions.all()) {
      const cv::Point at(static_cast<int>(region.x), static_cast<int>(region.y));
      cv::circle(marked_, at, static_cast<int>(region.radius), {255, 255, 255}, 1, cv::LINE_AA);
      cv::putText(marked_, region.lamp, at + cv::Point(static_cast<int>(region.radius) + 3, -3),
                  cv::FONT_HERSHEY_SIMPLEX, 0.5, {255, 255, 255}, 1, cv::LINE_AA);
    }
    for (const auto& [x, y] : regions.patches)
      cv::rectangle(marked_, {x, y, patch_px, patch_px}, {160, 160, 160});
    const std::string picture = stem + ".png";
    std::ofstream file(out);
    file << regions_text(regions);
    file.close();
    if (!cv::imwrite(regions.dial_picture, dial_) || !cv::imwrite(picture, marked_) || !file)
      throw CameraError("cannot write " + out.string() + " and its pictures");
    std::size_t colours = 0;
    for (const LampRegion& region : regions.lamps) colours += region.colours.size();
    std::fputs(
        fmt::format(
            "{}: {} lamps in {} colours{}\n{}: check that every lamp is circled and has its right name\n",
            out.string(), regions.lamps.size(), colours,
            regions.sync ? " and the sync lamp" : "; no sync lamp, so a run can fail but not pass", picture)
            .c_str(),
        stdout);
  }

  const TeachSettings& settings_;
  Gauge gauge_;
  Profile profile_;
  Nanos period_ = 0;
  std::vector<Nanos> times_;
  std::vector<bool> changed_;
  std::vector<Quiet> quiet_;
  std::map<std::pair<std::size_t, bool>, Sum> sums_;
  cv::Mat dial_, marked_;
};

}  // namespace

void teach(const TeachSettings& settings) { Teacher(settings).run(); }

}  // namespace tachproof

#include "tests/camera/photographed_gauge.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/videoio.hpp>
#include <random>
#include <stdexcept>

namespace tachproof::test {
namespace {

constexpr int across = 400, down = 226;
constexpr double scale = across / 480.0;  // of the numbers below, in pixels
constexpr int samples = 48;               // of an exposure

const std::map<std::string, Rgb>& usual_colours() {  // R, G, B
  static const std::map<std::string, Rgb> colours{{"yellow", {1.0F, 0.78F, 0.03F}},
                                                  {"white", {0.95F, 1.0F, 0.9F}},
                                                  {"violet", {0.42F, 0.05F, 1.0F}},
                                                  {"cyan", {0.03F, 0.85F, 0.95F}},
                                                  {"rose", {1.0F, 0.12F, 0.4F}}};
  return colours;
}

// The panel's plane, 0..1 both ways, as the phone sees it from the right.
cv::Matx33d view() {
  const std::vector<cv::Point2f> plane{{0, 0}, {1, 0}, {1, 1}, {0, 1}},
      picture{{28, 22}, {455, 4}, {470, 262}, {14, 240}};
  const cv::Matx33d small(scale, 0, 0, 0, scale, 0, 0, 0, 1);
  return small * cv::Matx33d(cv::getPerspectiveTransform(plane, picture));
}

cv::Point seen_at(double x, double y) {
  const cv::Vec3d p = view() * cv::Vec3d(x, y, 1);
  return {static_cast<int>(std::lround(16 * p[0] / p[2])), static_cast<int>(std::lround(16 * p[1] / p[2]))};
}

std::vector<cv::Point> box(double x, double y, double half_w, double half_h) {
  return {seen_at(x - half_w, y - half_h), seen_at(x + half_w, y - half_h), seen_at(x + half_w, y + half_h),
          seen_at(x - half_w, y + half_h)};
}

void fill(cv::Mat& onto, const std::vector<cv::Point>& shape, const cv::Scalar& light) {
  cv::fillConvexPoly(onto, shape, light, cv::LINE_AA, 4);
}

cv::Mat panel() {
  cv::Mat light(down, across, CV_32FC3, cv::Scalar(0.03, 0.028, 0.03));
  std::vector<cv::Point> rim;
  for (int i = 0; i < 60; ++i)
    rim.push_back(seen_at(0.5 + 0.3 * std::cos(i * CV_PI / 30), 0.62 + 0.34 * std::sin(i * CV_PI / 30)));
  fill(light, rim, {0.055, 0.05, 0.05});
  for (int digit = 0; digit <= 8; ++digit) {
    const double a = CV_PI * (0.85 + 1.3 * digit / 8), c = std::cos(a), s = std::sin(a);
    cv::line(light, seen_at(0.5 + 0.27 * c, 0.62 + 0.3 * s), seen_at(0.5 + 0.23 * c, 0.62 + 0.26 * s),
             {0.5, 0.55, 0.55}, 2, cv::LINE_AA, 4);
    const cv::Point at = seen_at(0.49 + 0.17 * c, 0.65 + 0.2 * s);
    cv::putText(light, std::to_string(digit), {at.x / 16, at.y / 16}, cv::FONT_HERSHEY_DUPLEX, 0.5 * scale,
                {0.45, 0.5, 0.5}, 1, cv::LINE_AA);
  }
  for (const auto& [x, y] : {std::pair{0.04, 0.9}, {0.95, 0.92}, {0.05, 0.5}, {0.94, 0.45}, {0.2, 0.95}})
    fill(light, box(x, y, 0.018, 0.03), {0.25, 0.2, 0.16});
  return light;
}

class Camera {
 public:
  Camera(const Photographed& run, const Phone& phone)
      : run_(run), phone_(phone), panel_(panel()), random_(phone.seed) {
    for (std::size_t i = 0; i < curve_.size(); ++i)
      curve_[i] = std::pow(static_cast<float>(i) / static_cast<float>(curve_.size() - 1), 1 / 2.2F);
    follow_channels();
  }

  cv::Mat picture(double at_s) {
    cv::Mat light = panel_.clone();
    const double turn = 0.85 + 1.3 * run_.rpm(run_time(at_s)) / 8000;
    cv::line(light, seen_at(0.5, 0.62),
             seen_at(0.5 + 0.22 * std::cos(CV_PI * turn), 0.62 + 0.25 * std::sin(CV_PI * turn)),
             {0.05, 0.08, 0.6}, 3, cv::LINE_AA, 4);
    cv::Mat lamps = cv::Mat::zeros(light.size(), CV_32FC3);
    const std::size_t count = run_.gauge.lamps.size();
    for (std::size_t lamp = 0; lamp < count; ++lamp)
      bar(lamps, place(lamp), 0.11, at_s, [&](Nanos t) { return colour_of(lamp, t); });
    bar(lamps, 0.12, 0.78, at_s, [&](Nanos t) {
      for (const auto& [from, to] : run_.flashes)
        if (t >= from && t < to) return Rgb{1.0F, 0.9F, 0.7F};
      return Rgb{};
    });
    cv::Mat small, wide;
    cv::resize(lamps, small, {}, 0.25, 0.25, cv::INTER_AREA);
    cv::GaussianBlur(small, small, {}, 2.2 * scale);
    cv::resize(small, wide, light.size(), 0, 0, cv::INTER_LINEAR);
    for (const cv::Range& rows : {cv::Range(0, down / 3), cv::Range(down / 2, down)}) {
      cv::Mat part = lamps.rowRange(rows);
      cv::GaussianBlur(part, part, {}, 1.1 * scale);
    }
    light += lamps + phone_.bloom * wide;
    haze_and_reflection(light, at_s);
    return developed(light, at_s);
  }

 private:
  double place(std::size_t lamp) const { return 0.14 + 0.72 * static_cast<double>(lamp) / 4; }
  Nanos run_time(double at_s) const { return from_seconds((at_s - phone_.starts_s) / phone_.clock); }

  // What a channel's light follows: switched, or by degrees as a filament does.
  struct Move {
    Nanos at = 0;
    double from = 0, to = 0;  // its light, of full light, at `at`; what it goes to
  };

  void follow_channels() {
    for (std::size_t c = 0; c < run_.gauge.channels(); ++c) {
      const std::string name = run_.gauge.channel_name(c);
      const auto own = phone_.colours.find(name);
      lights_.push_back(own != phone_.colours.end() ? own->second
                                                    : usual_colours().at(name.substr(name.find(' ') + 1)));
      fades_.push_back(own != phone_.colours.end() ? phone_.fade_s : 0);
      std::vector<Move>& moves = moves_.emplace_back();
      for (const LampEvent& event : run_.lamps) {
        const double to = event.lit >> c & 1 ? 1 : 0;
        if (moves.empty() || moves.back().to != to) moves.push_back({event.at, level(c, event.at), to});
      }
    }
  }

  double level(std::size_t channel, Nanos t) const {
    const std::vector<Move>& moves = moves_[channel];
    const auto after =
        std::upper_bound(moves.begin(), moves.end(), t, [](Nanos at, const Move& m) { return at < m.at; });
    if (after == moves.begin()) return 0;
    const Move& move = *std::prev(after);
    if (fades_[channel] <= 0) return move.to;
    return move.to + (move.from - move.to) * std::exp(-to_seconds(t - move.at) / fades_[channel]);
  }

  Rgb colour_of(std::size_t lamp, Nanos t) const {
    Rgb sum{};
    for (Channels left = run_.gauge.lamp_channels(lamp); left != 0; left &= left - 1) {
      const auto c = static_cast<std::size_t>(std::countr_zero(left));
      const auto share = static_cast<float>(level(c, t));
      for (std::size_t i = 0; i < 3; ++i) sum[i] += share * lights_[c][i];
    }
    return sum;
  }

  template <class At>
  void bar(cv::Mat& onto, double x, double y, double at_s, At colour_at) const {
    const std::vector<cv::Point> shape = box(x, y, 0.042, 0.035);
    const double row_s = phone_.readout_ms * 1e-3 * shape[0].y / 16 / down;
    std::array<double, 3> mean{};
    for (int i = 0; i < samples; ++i) {
      const double off_s = phone_.exposure_ms * 1e-3 * ((i + 0.5) / samples - 0.5);
      const Rgb colour = colour_at(run_time(at_s + row_s + off_s));
      for (std::size_t c = 0; c < 3; ++c) mean[c] += colour[c] * phone_.light / samples;
    }
    if (mean[0] + mean[1] + mean[2] > 0) fill(onto, shape, {mean[2], mean[1], mean[0]});
  }

  void haze_and_reflection(cv::Mat& light, double at_s) {
    if (phone_.haze > 0) {
      const double veil = phone_.haze * (1 + 0.4 * std::sin(at_s * 1.1));
      light = light * (1 - veil) + cv::Scalar(0.3, 0.28, 0.27) * veil;
    }
    if (phone_.reflection <= 0) return;
    const bool lies = at_s > 4 && at_s < 5;
    if (phone_.over_lamp && !lies) return;
    const cv::Point at = phone_.over_lamp ? seen_at(place(2), 0.11) : seen_at(0.35 + 0.02 * at_s, 0.85);
    cv::Mat sheen = cv::Mat::zeros(light.size(), CV_32FC3);
    cv::ellipse(sheen, {at.x / 16, at.y / 16}, {phone_.over_lamp ? 10 : 20, 6}, 15, 0, 360,
                cv::Scalar(0.9, 0.95, 1.0) * phone_.reflection, cv::FILLED, cv::LINE_AA);
    cv::GaussianBlur(sheen, sheen, {}, 2);
    light += sheen;
  }

  // Exposure and white balance as the phone likes them, a film-like curve, noise.
  cv::Mat developed(cv::Mat& light, double at_s) {
    const double gain = 1 + phone_.exposure_drift * std::sin(at_s * 0.5 + 1);
    const double warm = phone_.balance * std::sin(at_s * 0.4 + 0.5);
    std::normal_distribution<float> grain(0, static_cast<float>(phone_.noise));
    if (grain_.empty()) {
      grain_.resize(65536);
      for (float& g : grain_) g = grain(random_);
    }
    const std::array<float, 3> gains{static_cast<float>(gain * (1 - warm)), static_cast<float>(gain),
                                     static_cast<float>(gain * (1 + warm))};
    cv::Mat out(light.size(), CV_8UC3);
    for (int y = 0; y < light.rows; ++y) {
      const float* in = light.ptr<float>(y);
      std::uint8_t* to = out.ptr(y);
      std::size_t g = random_() & 0xffff;
      for (int i = 0; i < 3 * light.cols; ++i) {
        const float linear = std::clamp(in[i] * gains[static_cast<std::size_t>(i % 3)], 0.0F, 1.0F);
        const float coded = curve_[static_cast<std::size_t>(linear * static_cast<float>(curve_.size() - 1))] +
                            grain_[++g & 0xffff];
        to[i] = static_cast<std::uint8_t>(std::clamp(255 * coded + 0.5F, 0.0F, 255.0F));
      }
    }
    return out;
  }

  const Photographed& run_;
  const Phone& phone_;
  cv::Mat panel_;
  std::mt19937_64 random_;
  std::vector<float> grain_;
  std::array<float, 16384> curve_{};
  std::vector<Rgb> lights_;               // by channel
  std::vector<double> fades_;             // likewise
  std::vector<std::vector<Move>> moves_;  // likewise
};

}  // namespace

void photograph(const Photographed& run, const Phone& phone, const std::string& to) {
  Camera camera(run, phone);
  std::mt19937_64 random(phone.seed + 17);
  std::uniform_real_distribution<double> off(-phone.uneven_ms * 1e-3, phone.uneven_ms * 1e-3);
  const bool folder = phone.into == Phone::Into::folder;
  cv::VideoWriter video;
  std::ofstream times;
  if (folder) {
    std::filesystem::create_directories(to);
    times.open(to + "/times.txt");
  } else {
    video.open(to, cv::CAP_FFMPEG,
               phone.into == Phone::Into::mjpg ? cv::VideoWriter::fourcc('M', 'J', 'P', 'G')
                                               : cv::VideoWriter::fourcc('a', 'v', 'c', '1'),
               phone.fps, {across, down});
    if (!video.isOpened()) throw std::runtime_error("cannot write " + to);
  }
  for (int i = 0; i < phone.lasts_s * phone.fps; ++i) {
    const double at_s = i / phone.fps + (folder && phone.uneven_ms > 0 ? off(random) : 0);
    const cv::Mat picture = camera.picture(at_s);
    if (folder) {
      cv::imwrite(to + "/" + std::to_string(100000 + i) + ".jpg", picture, {cv::IMWRITE_JPEG_QUALITY, 88});
      times << std::to_string(at_s) << "\n";
    } else {
      video.write(picture);
    }
  }
}

}  // namespace tachproof::test

#include "tests/camera/filmed_gauge.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <memory>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/videoio.hpp>
#include <stdexcept>

namespace tachproof::test {
namespace {

const std::map<std::string, cv::Vec3f> colours{
    // B, G, R, linear
    {"white", {0.85F, 0.95F, 1.0F}}, {"blue", {1.0F, 0.18F, 0.06F}},  {"magenta", {0.7F, 0.06F, 1.0F}},
    {"cyan", {1.0F, 0.9F, 0.05F}},   {"violet", {1.0F, 0.1F, 0.45F}}, {"sync", {0.3F, 0.8F, 1.0F}}};

// Lamps stand in an uneven arc over the dial; the sync lamp below it, to the left.
cv::Point2d place(std::size_t lamp, std::size_t lamps, const Camera& camera) {
  const double share = lamps == 1 ? 0.5 : static_cast<double>(lamp) / static_cast<double>(lamps - 1);
  const double turn = (-0.8 + 1.6 * share + (lamp % 2 == 0 ? 0.06 : -0.04));
  return {camera.width * (0.5 + 0.36 * std::sin(turn)), camera.height * (0.62 - 0.42 * std::cos(turn))};
}
cv::Point2d sync_place(const Camera& camera) { return {camera.width * 0.12, camera.height * 0.8}; }
double lamp_radius(const Camera& camera) { return camera.height / 40.0; }

float coded(float light) {
  const float l = std::clamp(light, 0.0F, 1.0F);
  return 255 * (l <= 0.0031308F ? 12.92F * l : 1.055F * std::pow(l, 1 / 2.4F) - 0.055F);
}

// The dial, in linear light: a cream ellipse with ticks and words, a hand, a dark panel with screws round it.
cv::Mat draw_face(const Camera& camera) {
  const double h = camera.height, w = camera.width;
  cv::Mat face(camera.height, camera.width, CV_32FC3, cv::Scalar(0.012, 0.013, 0.014));
  const cv::Point centre(static_cast<int>(w / 2), static_cast<int>(h * 0.64));
  cv::ellipse(face, centre, {static_cast<int>(h * 0.62), static_cast<int>(h * 0.52)}, 0, 0, 360,
              {0.02, 0.024, 0.028}, cv::FILLED, cv::LINE_AA);
  cv::ellipse(face, centre, {static_cast<int>(h * 0.26), static_cast<int>(h * 0.24)}, 0, 0, 360,
              {0.14, 0.17, 0.18}, cv::FILLED, cv::LINE_AA);
  for (int i = 0; i <= 20; ++i) {
    const double a = CV_PI * (0.95 + 1.1 * i / 20);
    const double out = i % 5 == 0 ? 0.255 : 0.24;
    cv::line(
        face,
        centre + cv::Point(static_cast<int>(h * 0.21 * std::cos(a)), static_cast<int>(h * 0.2 * std::sin(a))),
        centre + cv::Point(static_cast<int>(h * out * std::cos(a)),
                           static_cast<int>(h * (out - 0.02) * std::sin(a))),
        {0.02, 0.02, 0.02}, i % 5 == 0 ? 3 : 1, cv::LINE_AA);
  }
  cv::line(face, centre, centre + cv::Point(static_cast<int>(-h * 0.15), static_cast<int>(-h * 0.09)),
           {0.03, 0.02, 0.1}, 3, cv::LINE_AA);
  cv::putText(face, "TARN 4 x1000",
              centre + cv::Point(static_cast<int>(-h * 0.12), static_cast<int>(h * 0.12)),
              cv::FONT_HERSHEY_SIMPLEX, h / 800, {0.03, 0.03, 0.04}, 1, cv::LINE_AA);
  for (const auto& [x, y] :
       {std::pair{0.05, 0.1}, {0.95, 0.12}, {0.06, 0.92}, {0.94, 0.9}, {0.24, 0.9}, {0.8, 0.86}}) {
    const cv::Point at(static_cast<int>(w * x), static_cast<int>(h * y));
    cv::circle(face, at, static_cast<int>(h / 40), {0.1, 0.1, 0.1}, cv::FILLED, cv::LINE_AA);
    cv::line(face, at - cv::Point(5, 4), at + cv::Point(5, 4), {0.01, 0.01, 0.01}, 2, cv::LINE_AA);
  }
  return face;
}

// How much of [from, to] a channel is lit, for calls with from growing per row and frame.
class LitShare {
 public:
  explicit LitShare(const Scene& scene) : scene_(scene) {}
  void channels(double from, double to, std::vector<double>& shares) const {
    const std::vector<LampEvent>& events = scene_.lamps;
    std::fill(shares.begin(), shares.end(), 0.0);
    auto at = std::upper_bound(events.begin(), events.end(), from,
                               [](double t, const LampEvent& e) { return t < static_cast<double>(e.at); });
    double now = from;
    Channels lit = at == events.begin() ? 0 : std::prev(at)->lit;
    for (;; ++at) {
      const double next = at == events.end() ? to : std::min(to, static_cast<double>(at->at));
      for (Channels left = lit; left != 0; left &= left - 1)
        shares[static_cast<std::size_t>(std::countr_zero(left))] += (next - now) / (to - from);
      if (next >= to) return;
      now = next;
      lit = at->lit;
    }
  }
  double sync(double from, double to) const {
    double lit = 0;
    for (const auto& [on, off] : scene_.flashes)
      lit += std::max(0.0, std::min(to, static_cast<double>(off)) - std::max(from, static_cast<double>(on)));
    return lit / (to - from);
  }

 private:
  const Scene& scene_;
};

// Linear light of a lamp at this distance from its middle, in units of its radius.
float glow(double distance) {
  const double core = 1 / (1 + std::exp((distance - 1) * 8));
  const double halo = 0.16 * std::exp(-0.5 * distance * distance / 0.9);
  return static_cast<float>(core + halo);
}

class Film {
 public:
  Film(const Scene& scene, const Camera& camera)
      : scene_(scene), camera_(camera), lit_(scene), face_(draw_face(camera)), random_(camera.seed) {
    if (camera.blur > 0) cv::GaussianBlur(face_, face_, {}, camera.blur);
    for (std::size_t i = 0; i < table_.size(); ++i)
      table_[i] = coded(static_cast<float>(i) / static_cast<float>(table_.size() - 1));
    // One field of noise, taken from another corner each time.
    noise_ = cv::Mat(camera.height + 64, camera.width + 64, CV_32FC3);
    cv::theRNG().state = camera.seed * 2 + 1;
    cv::randn(noise_, 0, camera.noise);
  }

  cv::Mat frame(double at_s) {
    cv::Mat light(face_.size(), CV_32FC3);
    for (int y = 0; y < light.rows; ++y) {
      const auto room = static_cast<float>(room_light(at_s + row_delay_s(y)));
      const float* in = face_.ptr<float>(y);
      float* out = light.ptr<float>(y);
      for (int i = 0; i < 3 * light.cols; ++i) out[i] = in[i] * room;
    }
    std::vector<double> shares(scene_.gauge.channels());
    const double r = lamp_radius(camera_);
    const std::size_t lamps = scene_.gauge.lamps.size();
    for (std::size_t lamp = 0; lamp <= lamps; ++lamp) {
      const bool sync = lamp == lamps;
      const cv::Point2d at = sync ? sync_place(camera_) : place(lamp, lamps, camera_);
      for (int y = static_cast<int>(at.y - 4 * r); y <= at.y + 4 * r; ++y) {
        if (y < 0 || y >= camera_.height) continue;
        // The stamp is the middle of the first row's exposure.
        const double middle = at_s + row_delay_s(y);
        const double from = run_time(camera_, middle - camera_.exposure_ms * 5e-4);
        const double to = run_time(camera_, middle + camera_.exposure_ms * 5e-4);
        cv::Vec3f colour(0, 0, 0);
        if (sync) {
          colour = colours.at("sync") * static_cast<float>(lit_.sync(from, to));
        } else {
          lit_.channels(from, to, shares);
          for (Channels left = scene_.gauge.lamp_channels(lamp); left != 0; left &= left - 1) {
            const auto c = static_cast<std::size_t>(std::countr_zero(left));
            const std::string name = scene_.gauge.channel_name(c);
            const auto other = camera_.recoloured.find(name);
            colour += (other != camera_.recoloured.end() ? other->second
                                                         : colours.at(name.substr(name.find(' ') + 1))) *
                      static_cast<float>(shares[c]);
          }
        }
        if (colour == cv::Vec3f(0, 0, 0)) continue;
        colour *= static_cast<float>(camera_.brightness);
        cv::Vec3f* row = light.ptr<cv::Vec3f>(y);
        for (int x = static_cast<int>(at.x - 4 * r); x <= at.x + 4 * r; ++x)
          if (x >= 0 && x < camera_.width) row[x] += colour * glow(std::hypot(x - at.x, y - at.y) / r);
      }
    }
    if (at_s >= camera_.glare_from_s && at_s < camera_.glare_to_s) {
      const cv::Point2d at =
          camera_.glare_lamp == lamps ? sync_place(camera_) : place(camera_.glare_lamp, lamps, camera_);
      cv::Mat sheen = cv::Mat::zeros(light.size(), CV_32FC3);
      cv::ellipse(sheen, cv::Point(at), {static_cast<int>(5 * r), static_cast<int>(3.5 * r)}, 20, 0, 360,
                  cv::Scalar(0.35, 0.33, 0.3) * camera_.glare, cv::FILLED, cv::LINE_AA);
      light += sheen;
    }
    return exposed(moved(light, at_s));
  }

 private:
  double row_delay_s(int y) const { return camera_.readout_ms * 1e-3 * y / camera_.height; }

  // The mean over the exposure round this instant.
  double room_light(double middle_s) const {
    const double now = camera_.ambient * (middle_s >= camera_.room_light_at_s ? camera_.room_light : 1);
    const double half_turn = CV_PI * camera_.mains_hz * camera_.exposure_ms * 1e-3;
    if (half_turn == 0) return now;
    const double left = std::sin(half_turn) / half_turn;
    return now * (1 + camera_.mains_depth * left * std::cos(2 * CV_PI * camera_.mains_hz * middle_s));
  }

  cv::Mat moved(const cv::Mat& light, double at_s) {
    Shift now;
    for (const Shift& shift : camera_.shifts)
      if (at_s >= shift.from_s) now = shift;
    if (camera_.shake > 0) {
      std::normal_distribution<double> off(0, camera_.shake);
      now.right += off(random_);
      now.down += off(random_);
    }
    if (now.right == 0 && now.down == 0) return light;
    const cv::Mat by = (cv::Mat_<double>(2, 3) << 1, 0, now.right, 0, 1, now.down);
    cv::Mat out;
    cv::warpAffine(light, out, by, light.size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
    return out;
  }

  cv::Mat exposed(const cv::Mat& light) {
    const int right = static_cast<int>(random_() % 64), down = static_cast<int>(random_() % 64);
    const float scale = static_cast<float>(table_.size() - 1);
    cv::Mat picture(light.size(), CV_8UC3);
    for (int y = 0; y < light.rows; ++y) {
      const float* in = light.ptr<float>(y);
      const float* grain = noise_.ptr<float>(y + down) + 3 * right;
      std::uint8_t* out = picture.ptr(y);
      for (int i = 0; i < 3 * light.cols; ++i) {
        const float value = table_[static_cast<std::size_t>(std::min(in[i], 1.0F) * scale)] + grain[i];
        out[i] = static_cast<std::uint8_t>(std::clamp(value + 0.5F, 0.0F, 255.0F));
      }
    }
    return picture;
  }

  const Scene& scene_;
  const Camera& camera_;
  LitShare lit_;
  cv::Mat face_, noise_;
  std::mt19937_64 random_;
  std::array<float, 4096> table_{};
};

class Writer {
 public:
  Writer(const Camera& camera, Clip kind, const std::string& to) : kind_(kind), to_(to) {
    const cv::Size size(camera.width, camera.height);
    if (in_folder()) {
      std::filesystem::create_directories(to);
    } else {
      video_.open(to, cv::CAP_FFMPEG,
                  kind == Clip::mjpg ? cv::VideoWriter::fourcc('M', 'J', 'P', 'G')
                                     : cv::VideoWriter::fourcc('a', 'v', 'c', '1'),
                  camera.fps, size);
    }
    if (!in_folder() && !video_.isOpened()) throw std::runtime_error("cannot write " + to);
  }
  void write(const cv::Mat& picture, double at_s) {
    if (!in_folder()) {
      video_.write(picture);
      return;
    }
    const std::string number = std::to_string(100000 + frames_++);
    if (kind_ == Clip::folder)
      cv::imwrite(to_ + "/" + number + ".jpg", picture, {cv::IMWRITE_JPEG_QUALITY, 90});
    else
      cv::imwrite(to_ + "/" + number + ".png", picture, {cv::IMWRITE_PNG_COMPRESSION, 1});
    times_ += std::to_string(at_s) + "\n";
  }
  void close() {
    if (in_folder())
      std::ofstream(to_ + "/times.txt") << times_;
    else
      video_.release();
  }

 private:
  bool in_folder() const { return kind_ == Clip::folder || kind_ == Clip::png_folder; }

  Clip kind_;
  std::string to_;
  cv::VideoWriter video_;
  int frames_ = 0;
  std::string times_;
};

}  // namespace

double run_time(const Camera& camera, double camera_s) {
  return (camera_s - camera.run_starts_s) * (1 + camera.drift_ppm * 1e-6) * 1e9;
}

std::vector<LampEvent> by_degrees(const std::vector<LampEvent>& lamps, Channels channel, double time_s) {
  std::vector<LampEvent> out;
  Channels others = 0;
  bool wanted = false;
  double level = 0;
  const auto put = [&](Nanos at, bool lit) {
    const Channels all = others | (lit ? channel : 0);
    if (out.empty() || out.back().lit != all) out.push_back({at, all});
  };
  const double slot = 1 - std::exp(-1e-3 / time_s);
  for (std::size_t i = 0; i < lamps.size(); ++i) {
    others = lamps[i].lit & ~channel;
    wanted = lamps[i].lit & channel;
    const Nanos until = i + 1 < lamps.size() ? lamps[i + 1].at : lamps[i].at + 10 * ns_per_s;
    Nanos at = lamps[i].at;
    while (at < until && std::abs(level - (wanted ? 1 : 0)) > 0.01) {
      level += ((wanted ? 1 : 0) - level) * slot;
      const Nanos dark_from = std::min(at + static_cast<Nanos>(level * ns_per_ms), until);
      put(at, true);
      if (dark_from < until) put(dark_from, false);
      at += ns_per_ms;
    }
    if (at < until) put(at, wanted);
  }
  return out;
}

void film(const Scene& scene, const Camera& camera, Clip kind, const std::string& to) {
  Film film(scene, camera);
  Writer writer(camera, kind, to);
  cv::Mat last;
  const int frames = static_cast<int>(camera.lasts_s * camera.fps);
  for (int i = 0; i < frames; ++i) {
    if (std::find(camera.dropped.begin(), camera.dropped.end(), i) != camera.dropped.end()) continue;
    const double at_s = i / camera.fps;
    const bool again = std::find(camera.repeated.begin(), camera.repeated.end(), i) != camera.repeated.end();
    if (!again || last.empty()) last = film.frame(at_s);
    writer.write(last, at_s);
  }
  writer.close();
}

std::vector<int> truth_of(const Scene& scene, const Camera& camera, Nanos camera_time) {
  const LitShare lit(scene);
  std::vector<double> shares(scene.gauge.channels());
  std::vector<int> states;
  for (std::size_t lamp = 0; lamp < scene.gauge.lamps.size(); ++lamp) {
    const cv::Point2d at = place(lamp, scene.gauge.lamps.size(), camera);
    const double middle = to_seconds(camera_time) + camera.readout_ms * 1e-3 * at.y / camera.height;
    // The lamp's rows, and a little more.
    const double reach =
        camera.exposure_ms * 5.1e-4 + camera.readout_ms * 1e-3 * 4 * lamp_radius(camera) / camera.height;
    lit.channels(run_time(camera, middle - reach), run_time(camera, middle + reach), shares);
    int state = -1;
    int index = 0;
    for (Channels left = scene.gauge.lamp_channels(lamp); left != 0; left &= left - 1, ++index) {
      const double share = shares[static_cast<std::size_t>(std::countr_zero(left))];
      if (share > 0.999)
        state = index;
      else if (share > 0.001)
        state = -2;
      if (state == -2) break;
    }
    states.push_back(state);
  }
  return states;
}

}  // namespace tachproof::test

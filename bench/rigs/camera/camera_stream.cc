#include "bench/rigs/camera/camera_stream.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <utility>

#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

using namespace std::chrono_literals;

// As many frames a second as a rig file may state.
constexpr Nanos shortest_period = ns_per_ms, longest_period = ns_per_s;

[[noreturn]] void not_understood() {
  throw RigError(
      "the camera's program sent something that this program does not know: build both from one version");
}

Nanos number(std::string_view text) {
  Nanos value = 0;
  if (std::from_chars(text.data(), text.data() + text.size(), value).ec != std::errc() ||
      value < -latest_frame || value > latest_frame)
    not_understood();
  return value;
}

std::vector<std::string> words(const CameraSettings& settings) {
  std::vector<std::string> words{"watch", settings.from, "--regions", settings.regions};
  const auto add = [&](const char* key, double value) {
    words.push_back(key);
    words.push_back(fmt::format("{}", value));
  };
  if (settings.fps > 0) add("--fps", settings.fps);
  if (settings.live && settings.exposure_ms > 0) add("--exposure-ms", settings.exposure_ms);
  if (settings.live && settings.gain >= 0) add("--gain", settings.gain);
  if (settings.least_level < 1) add("--least-level", settings.least_level);
  // The source waits for what is seen.
  if (settings.live) add("--at-once", 1);
  return words;
}

}  // namespace

CameraStream::CameraStream(const CameraSettings& settings, std::vector<std::size_t> colours,
                           const OpenCamera& open)
    : colours_(std::move(colours)), process_(open(words(settings))) {
  greeting("tachproof-camera 1");
  about_ = greeting("about ");
  period_ = number(greeting("period "));
  if (period_ <= 0)
    throw RigError("the camera does not say how many frames a second it gives: give fps in the rig file");
  if (period_ < shortest_period || period_ > longest_period)
    throw RigError(fmt::format(
        "the camera says that it gives {:.4g} frames a second, and 1 to 1000 can be: give the right "
        "number (--fps, or fps in the rig file)",
        1 / to_seconds(period_)));
}

bool CameraStream::is_of_the_regions(const FrameReading& reading) const {
  const auto was_taught = [](const LampLook& look, std::size_t colours) {
    return look.state != LampLook::State::lit || look.colour < colours;
  };
  return std::equal(reading.looks.begin(), reading.looks.end(), colours_.begin(), colours_.end(), was_taught);
}

std::string CameraStream::greeting(std::string_view start) {
  const std::optional<std::string> line = process_->line(15'000ms);
  if (line) said_ += *line + "\n";
  if (!line || !line->starts_with(start)) not_understood();
  return line->substr(start.size());
}

std::optional<CameraStream::Line> CameraStream::next(std::chrono::milliseconds patience) {
  const std::optional<std::string> line = process_->line(patience);
  if (!line) return std::nullopt;
  said_ += *line + "\n";
  Line told;
  if (line->starts_with("frame ")) {
    std::optional<FrameReading> reading = read_frame_line(*line);
    if (!reading || !is_of_the_regions(*reading)) not_understood();
    told.frame = Frame{number_++, std::move(*reading)};
  } else if (line->starts_with("moved ")) {
    const FrameMark mark{number_++, number(std::string_view(*line).substr(6))};
    const std::string why = line->substr(std::min(line->find(' ', 6), line->size() - 1) + 1);
    const std::size_t end = std::min(why.find(": "), why.size());
    told.moved = LostSight{mark.at, why.substr(0, end) + ", at " + say_frame(mark),
                           why.substr(std::min(end + 2, why.size()))};
  } else if (*line == "end") {
    ended_ = true;
  }
  return told;
}

}  // namespace tachproof

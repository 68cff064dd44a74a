#include "bench/rigs/camera/camera_lines.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

namespace tachproof {
namespace {

constexpr std::size_t digits = 9, with_flux = 13;

char letter(const LampLook& look) {
  switch (look.state) {
    case LampLook::State::dark: return '.';
    case LampLook::State::lit: return static_cast<char>((look.weak ? 'a' : 'A') + look.colour);
    case LampLook::State::other: return '#';
    case LampLook::State::unclear: break;
  }
  return '?';
}

std::optional<LampLook> look_of(char letter) {
  LampLook look;
  if (letter == '.') look.state = LampLook::State::dark;
  if (letter == '#') look.state = LampLook::State::other;
  if (letter == '.' || letter == '#' || letter == '?') return look;
  look.state = LampLook::State::lit;
  look.weak = letter >= 'a' && letter <= 'z';
  if (!look.weak && !(letter >= 'A' && letter <= 'Z')) return std::nullopt;
  look.colour = static_cast<std::size_t>(letter - (look.weak ? 'a' : 'A'));
  return look;
}

int scaled(double share, double all, int most) {
  return static_cast<int>(std::clamp(std::lround(share * all), 0L, static_cast<long>(most)));
}

std::optional<double> hex(std::string_view text) {
  unsigned value = 0;  // takes no sign
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value, 16);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return value;
}

}  // namespace

std::string frame_line(const FrameReading& reading) {
  std::string looks, measures;
  const bool flux = std::any_of(reading.looks.begin(), reading.looks.end(),
                                [](const LampLook& look) { return look.flux > 0; });
  for (const LampLook& look : reading.looks) {
    looks += letter(look);
    measures +=
        fmt::format("{:03x}{:02x}{:02x}{:02x}", scaled(look.light, 1024, 0xfff), scaled(look.open, 255, 255),
                    scaled(look.red, 255, 255), scaled(look.green, 255, 255));
    if (flux) measures += fmt::format("{:04x}", scaled(look.flux, 0xffff, 0xffff));
  }
  return fmt::format("frame {} {} {} {}", reading.at, reading.again ? 's' : '-', looks, measures);
}

std::optional<FrameReading> read_frame_line(std::string_view line) {
  constexpr std::string_view start = "frame ";
  if (!line.starts_with(start)) return std::nullopt;
  line.remove_prefix(start.size());
  FrameReading reading;
  const auto [end, error] = std::from_chars(line.data(), line.data() + line.size(), reading.at);
  if (error != std::errc() || reading.at < -latest_frame || reading.at > latest_frame) return std::nullopt;
  line.remove_prefix(static_cast<std::size_t>(end - line.data()));
  if (line.size() < 4 || line[0] != ' ' || (line[1] != 's' && line[1] != '-') || line[2] != ' ')
    return std::nullopt;
  reading.again = line[1] == 's';
  line.remove_prefix(3);
  const std::size_t blank = std::min(line.find(' '), line.size());
  const std::string_view looks = line.substr(0, blank),
                         measures = blank < line.size() ? line.substr(blank + 1) : std::string_view();
  const std::size_t each = measures.size() == with_flux * looks.size() ? with_flux : digits;
  if (!measures.empty() && measures.size() != each * looks.size()) return std::nullopt;
  for (std::size_t i = 0; i < looks.size(); ++i) {
    std::optional<LampLook> look = look_of(looks[i]);
    if (!look) return std::nullopt;
    if (!measures.empty()) {
      const std::string_view own = measures.substr(each * i, each);
      const auto light = hex(own.substr(0, 3)), open = hex(own.substr(3, 2)), red = hex(own.substr(5, 2)),
                 green = hex(own.substr(7, 2)), flux = each > digits ? hex(own.substr(digits)) : 0;
      if (!light || !open || !red || !green || !flux) return std::nullopt;
      look->light = *light / 1024;
      look->open = *open / 255;
      look->red = *red / 255;
      look->green = *green / 255;
      look->flux = *flux / 0xffff;
    }
    reading.looks.push_back(*look);
  }
  return reading;
}

}  // namespace tachproof

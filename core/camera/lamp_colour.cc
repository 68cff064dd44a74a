#include "core/camera/lamp_colour.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace tachproof {
namespace {

// Shares of a taught lamp's light. Between the first two nothing is said: a
// neighbour's glow stays below, a lamp that changed during the exposure may lie between.
constexpr double dark_below = 0.15, lit_above = 0.30, weak_below = 1 - steady_ripple;
constexpr double least_halo = 0.12;     // of a region's pixels, not clipped, to read a colour
constexpr double nothing = 0.004;       // light: about one count above black
constexpr double clearly_nearer = 0.6;  // distance to the taught colour, beside the next
constexpr double glare = 0.15;          // of the rim beyond what the lamp itself throws there

double linear(double coded) { return light_of_code(coded); }

Light to_light(double pixels, double y, double cb, double cr) {
  if (pixels == 0) return {};
  const double luma = y / pixels, db = cb / pixels - 128, dr = cr / pixels - 128;
  return {linear(luma + 1.402 * dr), linear(luma - 0.344136 * db - 0.714136 * dr), linear(luma + 1.772 * db)};
}

Light less(const Light& a, const Light& dark, const Light& ambient) {
  return {a.r - dark.r * ambient.r, a.g - dark.g * ambient.g, a.b - dark.b * ambient.b};
}

// A dimmer scene may be a shorter exposure, and the lamp dimmer with it.
double exposure_by(const Light& ambient) { return std::min(1.0, (ambient.r + ambient.g + ambient.b) / 3); }

double weakest_taught(const LampReference& lamp, const Light& ambient) {
  double weakest = std::numeric_limits<double>::infinity();
  for (const ColourReference& colour : lamp.colours) weakest = std::min(weakest, colour.core.sum());
  return weakest * exposure_by(ambient);
}

}  // namespace

double light_of_code(double code) {
  const double c = std::clamp(code / 255, 0.0, 1.0);
  return c <= 0.04045 ? c / 12.92 : std::pow((c + 0.055) / 1.055, 2.4);
}

double colour_apart(double red, double green, const ColourReference& taught) {
  const double sum = std::max(taught.halo.sum(), 1e-9);
  return std::hypot(red - taught.halo.r / sum, green - taught.halo.g / sum);
}

Light mean_light(const PixelSums& s) {
  return to_light(static_cast<double>(s.pixels), static_cast<double>(s.y), static_cast<double>(s.cb),
                  static_cast<double>(s.cr));
}

Light halo_light(const PixelSums& s) {
  return to_light(static_cast<double>(s.pixels - s.clipped), static_cast<double>(s.halo_y),
                  static_cast<double>(s.halo_cb), static_cast<double>(s.halo_cr));
}

double flux_of(const LampReference& lamp, const PixelSums& core, const Light& ambient) {
  if (core.pixels == 0) return 0;
  const double mean = static_cast<double>(core.light) / static_cast<double>(core.pixels) / (3 * 65535.0);
  const Light& dark = lamp.core_dark;
  return std::max(0.0, mean - (dark.r * ambient.r + dark.g * ambient.g + dark.b * ambient.b) / 3);
}

double light_beside_taught(const LampReference& lamp, const PixelSums& core, const Light& ambient) {
  if (core.pixels == 0 || lamp.colours.empty()) return 0;
  const double light = less(mean_light(core), lamp.core_dark, ambient).sum();
  return std::max(0.0, light / std::max(weakest_taught(lamp, ambient), 1e-9));
}

LampLook look_at(const LampReference& lamp, const PixelSums& core, const PixelSums& rim, const Light& ambient,
                 double level) {
  LampLook look;
  if (core.pixels == 0 || lamp.colours.empty()) return look;
  const double exposure = exposure_by(ambient);
  const double light = less(mean_light(core), lamp.core_dark, ambient).sum();
  const double weakest = level * weakest_taught(lamp, ambient);
  look.light = light_beside_taught(lamp, core, ambient);
  if (const double dark = std::max(dark_below * weakest, nothing); std::abs(light) < dark) {
    // A dimmed lamp may be less bright than what the light on the dial was corrected by.
    const double corrected = std::abs((ambient.r + ambient.g + ambient.b) / 3 - 1) * lamp.core_dark.sum();
    if (level < 1 && corrected > dark) return look;
    look.state = LampLook::State::dark;
    return look;
  }
  const auto halo_pixels = static_cast<double>(core.pixels - core.clipped);
  const Light halo = less(halo_light(core), lamp.core_dark, ambient);
  look.open = std::clamp(halo.sum() * halo_pixels / (static_cast<double>(core.pixels) * light), 0.0, 1.0);
  if (halo.sum() > nothing) {
    look.red = std::clamp(halo.r / halo.sum(), 0.0, 1.0);
    look.green = std::clamp(halo.g / halo.sum(), 0.0, 1.0);
  }
  if (light < lit_above * weakest) return look;
  if (halo_pixels < least_halo * static_cast<double>(core.pixels) || halo.sum() < 3 * nothing) return look;
  double nearest = std::numeric_limits<double>::infinity(), next = nearest;
  for (std::size_t c = 0; c < lamp.colours.size(); ++c) {
    const double distance = colour_apart(look.red, look.green, lamp.colours[c]);
    if (distance < nearest) {
      next = nearest;
      nearest = distance;
      look.colour = c;
    } else {
      next = std::min(next, distance);
    }
  }
  const ColourReference& taught = lamp.colours[look.colour];
  const double from_rim = rim.pixels == 0 ? 0 : less(mean_light(rim), lamp.rim_dark, ambient).sum();
  const bool own_light = from_rim <= (taught.rim + glare) * light + nothing;
  if (!own_light) return look;
  look.weak = light < weak_below * taught.core.sum() * exposure;
  look.state = nearest > same_colour || nearest > clearly_nearer * next ? LampLook::State::other
                                                                        : LampLook::State::lit;
  return look;
}

}  // namespace tachproof

// What a camera's pixels say of one lamp: dark, lit in one of its taught
// colours, or nothing.
//
// A bright lamp is white in its middle whatever its colour, because the sensor
// is full there; its colour is in the halo. So the colour is read from pixels
// that are not clipped, and from what the lamp adds to its dark surroundings:
// its share of red, green and blue, which neither exposure nor brightness
// changes. Where the answer is not clear, there is none: the judge then hears of
// no change rather than of a wrong one.
//
// Sums are taken in YCbCr as JPEG has it (ITU-T T.871: full range, BT.601); only
// their means are converted, and made linear (IEC 61966-2-1, sRGB).
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

namespace tachproof {

// What a channel's code is as light, in 1/65535 of a full one: light_of_code, at compile time.
inline constexpr std::array<std::uint16_t, 256> light_of_step = [] {
  std::array<std::uint16_t, 256> light{};
  for (std::size_t code = 0; code < light.size(); ++code) {
    const double c = static_cast<double>(code) / 255, a = (c + 0.055) / 1.055;
    double root = 1;  // the fifth one of a^2, by Newton: a^2.4 is a^2 times it
    for (int i = 0; i < 40; ++i) root -= (root - a * a / (root * root * root * root)) / 5;
    light[code] = static_cast<std::uint16_t>(65535 * (c <= 0.04045 ? c / 12.92 : a * a * root) + 0.5);
  }
  return light;
}();

inline constexpr std::uint16_t light_of(int code) {
  return light_of_step[static_cast<std::size_t>(code < 0 ? 0 : code > 255 ? 255 : code)];
}

struct PixelSums {
  std::uint64_t pixels = 0;
  std::uint64_t clipped = 0;  // some channel full
  std::uint64_t y = 0, cb = 0, cr = 0;
  std::uint64_t light = 0;  // of the channels of all pixels, each made linear by itself; where wanted
  std::uint64_t halo_y = 0, halo_cb = 0, halo_cr = 0;  // of the pixels that are not clipped

  // One pixel. Full is 250: JPEG rings a little round what was 255.
  void add(int luma, int blue, int red, bool with_light = false) {
    constexpr int full = 250;
    const int db = blue - 128, dr = red - 128;
    // In 1/1024: 1.402, 0.344, 0.714, 1.772.
    const int r = luma + ((1436 * dr) >> 10), g = luma - ((352 * db + 731 * dr) >> 10),
              b = luma + ((1815 * db) >> 10);
    const bool is_clipped = r >= full || g >= full || b >= full;
    if (with_light) light += std::uint64_t{light_of(r)} + light_of(g) + light_of(b);
    ++pixels;
    y += static_cast<unsigned>(luma);
    cb += static_cast<unsigned>(blue);
    cr += static_cast<unsigned>(red);
    if (is_clipped) {
      ++clipped;
      return;
    }
    halo_y += static_cast<unsigned>(luma);
    halo_cb += static_cast<unsigned>(blue);
    halo_cr += static_cast<unsigned>(red);
  }
};

struct Light {  // linear; 1 is a full channel
  double r = 0, g = 0, b = 0;
  double sum() const { return r + g + b; }
};

Light mean_light(const PixelSums& sums);  // of all pixels; {} when there are none
Light halo_light(const PixelSums& sums);  // of those not clipped

// A lamp as it was taught. `core` is a disc that holds the lamp and its halo,
// `rim` a ring further out.
struct ColourReference {
  Light core;      // mean of all pixels, dark taken off
  Light halo;      // mean of unclipped pixels, dark taken off: the chromaticity
  double rim = 0;  // light of the rim beside that of the core, 0..1
};
struct LampReference {
  Light core_dark, rim_dark;  // means while dark
  std::vector<ColourReference> colours;
};

struct LampLook {
  // other: lit for certain, by its own light, in no colour that it was taught.
  enum class State : std::uint8_t { dark, lit, other, unclear } state = State::unclear;
  std::size_t colour = 0;  // when lit
  bool weak = false;       // lit, but by less than 1 - steady_ripple of what was taught
  // What was measured, for the evidence: the light beside that of the lamp's weakest
  // colour; of it, the share from pixels that are not clipped; and of the halo's light,
  // the shares of red and green, 0 while dark.
  double light = 0, open = 0, red = 0, green = 0;
  // The mean light of its region above what it is while dark, each pixel made linear by itself; 1 is all
  // channels full. Unlike `light` it is in proportion to how bright the lamp is: a mean of codes overstates a
  // dim lamp beside a bright one. Only where the unit dims.
  double flux = 0;
};

// A lamp may be this much less bright than it was, as a share of its light, and has not
// changed for that: dimming that is a little out of step with the shutter. One limit for
// teaching and for judging.
inline constexpr double steady_ripple = 0.25;

// A channel as coded in a picture, 0..255, as light.
double light_of_code(double code);

// How far a halo's colour is from a taught one, in the plane of red and green shares.
double colour_apart(double red, double green, const ColourReference& taught);

// Further than `apart_for_certain` from every taught colour, a colour is another one,
// whatever noise and codec do to it; white balance that drifts stays within `gross`
// (common practice, no published source).
inline constexpr double same_colour = 0.10, apart_for_certain = 0.115, gross = 0.25;

// `ambient`: light on the dial now beside that at teaching, per channel. `level`: how bright its unit's
// lamps may be, as a share of what was taught; less than 1 where they are dimmed.
LampLook look_at(const LampReference& lamp, const PixelSums& core, const PixelSums& rim, const Light& ambient,
                 double level = 1);

// The lamp's light beside that of its weakest colour as taught, whatever it looks like.
double light_beside_taught(const LampReference& lamp, const PixelSums& core, const Light& ambient);

// As LampLook has it.
double flux_of(const LampReference& lamp, const PixelSums& core, const Light& ambient);

}  // namespace tachproof

#include "core/camera/other_colour.h"

#include <algorithm>
#include <cmath>

#include "core/base/text.h"

namespace tachproof {
namespace {

constexpr int least_frames = 5;
constexpr double room = 1.0 / 3;       // shares of the room's light: about white
constexpr double neutral = 0.06;       // from those
constexpr double all_but_room = 0.75;  // of the way there
constexpr double beside = 0.06;        // of that way

// Light of the room on a lamp that is lit as taught: a point between the two.
bool may_be_lit_and_reflect(const OtherColour& seen, const ColourReference& taught) {
  const double sum = std::max(taught.halo.sum(), 1e-9), red = taught.halo.r / sum,
               green = taught.halo.g / sum;
  const double to_red = room - red, to_green = room - green, length = std::hypot(to_red, to_green);
  if (length < neutral) return false;
  const double along = ((seen.red - red) * to_red + (seen.green - green) * to_green) / (length * length);
  const double across = ((seen.red - red) * to_green - (seen.green - green) * to_red) / length;
  return along > 0 && along < all_but_room && std::abs(across) < beside;
}

std::string shares(double red, double green) {
  return decimal(100 * red, 0) + " % red, " + decimal(100 * green, 0) + " % green, " +
         decimal(std::max(0.0, 100 * (1 - red - green)), 0) + " % blue";
}

}  // namespace

OtherColourSeen judge_other_colour(const OtherColour& seen, const LampReference& lamp,
                                   const std::vector<std::string>& colours, const std::string& untaught,
                                   bool others_look_right) {
  std::size_t nearest = 0;
  const auto apart = [&](std::size_t c) { return colour_apart(seen.red, seen.green, lamp.colours[c]); };
  for (std::size_t c = 1; c < lamp.colours.size(); ++c)
    if (apart(c) < apart(nearest)) nearest = c;
  const double distance = apart(nearest);
  const Light& halo = lamp.colours[nearest].halo;
  OtherColourSeen result;
  result.what = "was lit in a colour that it was not taught, from " + say_frame(seen.from) + " to " +
                say_frame(seen.to) + ": " + shares(seen.red, seen.green) +
                ". The nearest that was taught is " + colours.at(nearest) + " with " +
                shares(halo.r / std::max(halo.sum(), 1e-9), halo.g / std::max(halo.sum(), 1e-9)) + ": " +
                decimal(100 * distance, 0) + " % away, and another colour is " +
                decimal(100 * apart_for_certain, 1) + " % away or more";
  if (!untaught.empty()) result.what += ". The gauge lists " + untaught + " too, but no window shows it";
  if (seen.frames < least_frames)
    result.remedy = "Only " + std::to_string(seen.frames) +
                    " frames show it fully lit, too few to be sure: hold the rpm there for longer";
  else if (distance < apart_for_certain)
    result.remedy = "That is too near to be sure: teach again in this light";
  else if (distance < gross && !others_look_right)
    result.remedy =
        "No other lamp shows whether the camera sees colours as it did when it was taught: fix its white "
        "balance, or teach again in this light";
  else if (std::any_of(lamp.colours.begin(), lamp.colours.end(),
                       [&](const ColourReference& taught) { return may_be_lit_and_reflect(seen, taught); }))
    result.remedy = "It may be a taught colour with a reflection on it: shade the gauge and film again";
  else if (std::hypot(seen.red - room, seen.green - room) < neutral && seen.time < 2)
    result.remedy = "It is as white as a reflection, and was seen only once: shade the gauge and film again";
  result.is_certain = result.remedy.empty();
  return result;
}

}  // namespace tachproof

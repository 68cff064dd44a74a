#include "bench/rigs/camera/camera_doubts.h"

#include <algorithm>
#include <utility>

namespace tachproof {
namespace {

constexpr Nanos about_then = 5 * ns_per_s;
constexpr double clearly_as_taught = 0.05;  // of chromaticity
constexpr Nanos least_longest_phase = 800 * ns_per_ms;
// A lamp that the settings let blink may have been caught so; another one may have followed the profile.
constexpr int least_phases = 3, least_phases_of_steady = 4;

Nanos longest_phase(const Gauge& gauge) {
  if (!gauge.blink) return least_longest_phase;
  const double longer = std::max(gauge.blink->duty, 1 - gauge.blink->duty) / gauge.blink->hz;
  return std::max(least_longest_phase, from_seconds(1.5 * longer));
}

}  // namespace

CameraDoubts::CameraDoubts(const CameraSettings& settings, const Regions& regions, const Gauge& gauge,
                           const std::vector<std::vector<Channels>>& channels, Nanos period)
    : settings_(settings),
      regions_(regions),
      gauge_(gauge),
      channels_(channels),
      period_(period),
      all_(regions.all()),
      right_(all_.size()) {
  const Nanos exposure = settings.exposure_ms > 0 ? from_seconds(settings.exposure_ms * 1e-3) : 0;
  blinks_.assign(regions.lamps.size(), BlinkAliases({period, exposure, longest_phase(gauge)}));
}

void CameraDoubts::add(Nanos at, std::span<const LampLook> looks, std::uint64_t number) {
  for (std::size_t i = 0; i < all_.size(); ++i) {
    const LampLook& look = looks[i];
    if (i < blinks_.size()) blinks_[i].add(at, look, number);
    if (look.state == LampLook::State::lit && !look.weak && look.red + look.green > 0 &&
        colour_apart(look.red, look.green, all_[i].looks.colours.at(look.colour)) < clearly_as_taught)
      right_[i] = at;
  }
}

std::vector<CameraDoubts::Doubt> CameraDoubts::take(const std::vector<OtherColour>& others, bool is_last) {
  std::vector<Doubt> told;
  for (const OtherColour& other : others) told.push_back(of_colour(other));
  for (std::size_t lamp = 0; lamp < blinks_.size(); ++lamp) {
    if (is_last) blinks_[lamp].end_stretch();
    for (const SeenBlink& blink : blinks_[lamp].take())
      if (std::optional<Doubt> doubt = of_blink(lamp, blink)) told.push_back(std::move(*doubt));
  }
  return told;
}

CameraDoubts::Doubt CameraDoubts::of_colour(const OtherColour& other) const {
  const LampRegion& region = regions_.lamps[other.lamp];
  bool others_look_right = false;
  for (std::size_t i = 0; i < right_.size(); ++i)
    others_look_right =
        others_look_right || (i != other.lamp && right_[i] && *right_[i] >= other.from.at - about_then);
  std::string untaught;
  for (const Lamp& lamp : gauge_.lamps)
    for (const std::string& colour : lamp.colours)
      if (lamp.id == region.lamp &&
          std::find(region.colours.begin(), region.colours.end(), colour) == region.colours.end())
        untaught += (untaught.empty() ? "" : ", ") + colour;
  const OtherColourSeen seen =
      judge_other_colour(other, region.looks, region.colours, untaught, others_look_right);
  Doubt doubt;
  doubt.at = other.from.at;
  doubt.hides_changes = !seen.is_certain;
  doubt.finding = {seen.is_certain ? FindingKind::unknown_colour : FindingKind::lost_evidence, 0, "",
                   region.lamp,
                   "lamp " + region.lamp + " " + seen.what + (seen.is_certain ? "" : ". " + seen.remedy)};
  return doubt;
}

std::optional<CameraDoubts::Doubt> CameraDoubts::of_blink(std::size_t lamp, const SeenBlink& blink) const {
  if (blink.is_believed()) return std::nullopt;
  Channels own = 0, blinking = 0;
  for (const Channels channel : channels_[lamp]) own |= channel;
  for (const Window& window : gauge_.windows) blinking |= window.cue.blinking & own;
  if (blink.phases < (blinking != 0 ? least_phases : least_phases_of_steady)) return std::nullopt;
  const LampRegion& region = regions_.lamps[lamp];
  Doubt doubt;
  doubt.at = blink.from;
  doubt.hides_changes = blinking == 0;
  doubt.unsure_blinks = blinking;
  doubt.finding = {
      FindingKind::lost_evidence, 0, "", region.lamp,
      "lamp " + region.lamp + " " + say_alias(blink, period_, settings_.exposure_ms > 0, blinking == 0)};
  return doubt;
}

}  // namespace tachproof

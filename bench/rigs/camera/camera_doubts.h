// What a camera shows and cannot be believed, or is believed and was never taught: blinks
// that frames may not follow, and lamps in other colours.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "bench/files/files.h"
#include "bench/files/regions.h"
#include "core/camera/blink_aliases.h"
#include "core/camera/lamp_frames.h"
#include "core/camera/other_colour.h"
#include "core/judge/result.h"

namespace tachproof {

class CameraDoubts {
 public:
  // `channels[i][c]`: the gauge's, of lamp i and its taught colour c. All are kept by reference but `gauge`.
  CameraDoubts(const CameraSettings& settings, const Regions& regions, const Gauge& gauge,
               const std::vector<std::vector<Channels>>& channels, Nanos period);

  // One good frame, with a look for each of the regions' `all`.
  void add(Nanos at, std::span<const LampLook> looks, std::uint64_t number);

  struct Doubt {
    Nanos at = 0;  // of the camera's time
    Finding finding;
    bool hides_changes = false;  // the lamp's changes are no evidence: nothing passes or fails by them
    Channels unsure_blinks = 0;
  };
  // Since the last call. `others`: see LampFrames; `is_last`: nothing more will come.
  std::vector<Doubt> take(const std::vector<OtherColour>& others, bool is_last);

 private:
  Doubt of_colour(const OtherColour& other) const;
  std::optional<Doubt> of_blink(std::size_t lamp, const SeenBlink& blink) const;

  const CameraSettings& settings_;
  const Regions& regions_;
  const Gauge gauge_;
  const std::vector<std::vector<Channels>>& channels_;
  Nanos period_;
  std::vector<LampRegion> all_;
  std::vector<BlinkAliases> blinks_;         // by lamp
  std::vector<std::optional<Nanos>> right_;  // by region: when it last looked clearly as taught
};

}  // namespace tachproof

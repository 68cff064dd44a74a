// What tachproof-camera says of a frame, as a line: written by it, read by the watcher,
// and kept in the run folder as readings.txt.
//
//     frame NS - LOOKS [MEASURES]
//     frame NS s LOOKS [MEASURES]     the last picture again
//
// LOOKS has a letter for each region: `.` dark, `A` `B` ... lit in that colour, `a` `b` ...
// weakly, `#` lit in none that was taught, `?` unclear. MEASURES has nine hexadecimal
// digits for each: three for the light (1024 is the lamp's weakest colour as taught), two for the
// share of it from pixels that are not clipped, two each for the halo's shares of red and
// green (255 is all). Where the unit dims four more: the region's flux (65535 is a full channel).
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/time.h"
#include "core/camera/lamp_colour.h"

namespace tachproof {

// No clock of a camera tells more, either way from its 0: differences of instants stay whole numbers.
inline constexpr Nanos latest_frame = 1'000'000'000 * ns_per_s;

struct FrameReading {
  Nanos at = 0;
  bool again = false;  // the last picture
  std::vector<LampLook> looks;
};

std::string frame_line(const FrameReading& reading);  // without a line end
// Nothing when it is no such line. Without MEASURES they are 0.
std::optional<FrameReading> read_frame_line(std::string_view line);

}  // namespace tachproof

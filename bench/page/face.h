// A unit's lamps as the driver sees them, and the ladder of windows beside the rpm, as inline SVG.
#pragma once

#include <string>

#include "core/gauge/gauge.h"
#include "core/signal/profile.h"

namespace tachproof {

// Every lamp, left to right: its colours as hidden shapes with data-channel="N", which the page's script
// shows as they are lit; a word under it. `prefix` keeps the drawing's names apart from another face's on the
// page.
// `lit`: what is shown from the start; the fills are then somewhere else on the page
// (Palette::definitions()).
std::string face_svg(const Gauge& gauge, const std::string& prefix);
std::string face_svg(const Gauge& gauge, const std::string& prefix, const Cue* lit);

// The windows as bands of equal height from `lowest` to `highest` rpm, and an empty line (class "track") that
// the script fills: rpm against the last 15 seconds, now at the right edge. The scale is in data-knots,
// "rpm,y" each.
std::string strip_svg(const Gauge& gauge, double lowest, double highest);

// What of the rpm a profile, or a survey of this gauge, will need.
struct RpmRange {
  double lowest = 0, highest = 0;
};
RpmRange range_of(const Gauge& gauge, const Profile* profile);

}  // namespace tachproof

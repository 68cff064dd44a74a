// A gauge's windows as a ladder: rpm upwards, bands to scale with their lamps drawn, deadbands as hatched
// feet, anchors as named lines. Inline SVG; its fills come from Palette::definitions().
#pragma once

#include <optional>
#include <string>

#include "bench/page/face.h"
#include "bench/reports/hatch.h"
#include "core/gauge/gauge.h"

namespace tachproof {

// `scale`: in place of the gauge's own range, while an anchor is dragged. The scale is in data-low,
// data-high, data-top and data-bottom; each anchor is a group of the class "anchor" with data-anchor and
// data-rpm.
std::string ladder_svg(const Gauge& gauge, const Palette& palette, const std::string& prefix,
                       const std::optional<RpmRange>& scale = {});
// The bands and lamps alone, for a card.
std::string small_ladder_svg(const Gauge& gauge, const Palette& palette, const std::string& prefix);
// The same in words: window, where it begins, both thresholds, speed, what is shown.
std::string ladder_table(const Gauge& gauge);

// What the page's script needs to light the lamps as the unit would: thresholds, cues, blinking; as JSON.
std::string play_json(const Gauge& gauge);

}  // namespace tachproof

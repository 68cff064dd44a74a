// From a speed limit to an anchor: what `tachproof speed` does, beside the anchors of a gauge.
#pragma once

#include <optional>
#include <string>

#include "bench/page/gauge_form.h"
#include "bench/page/request.h"
#include "core/gauge/speed.h"

namespace tachproof {

struct SpeedSum {
  double rpm = 0, expanded_rpm = 0;  // exactly, and its U (k = 2)
  double anchor_rpm = 0;             // rounded down to what the unit can be set to
  Quantity speed;                    // m/s at the anchor, with the gauge's own uncertainty
};

// Throws UsageError with a sentence where a field is wrong.
SpeedSum speed_sum(const Fields& sent, double step_rpm);

// The fields, the answer where one was asked for ("calc_limit" is there), and a button for each anchor.
std::string speed_sum_html(const GaugeForm& form, const Fields& sent);
// The steps in which the form's unit is set.
double step_of(const GaugeForm& form);

}  // namespace tachproof

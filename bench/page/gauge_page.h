// The page of one gauge: left the form, right the ladder and the face.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/page/face.h"
#include "bench/page/gauge_check.h"
#include "bench/page/gauge_form.h"
#include "bench/page/shop_gauge.h"

namespace tachproof {

struct GaugeView {
  GaugeForm form;
  CheckedForm check;
  std::string message, done;  // a sentence on top: what went wrong; what was done
  bool tells_trouble = true;  // on top, too, where something is wrong
  std::string review;         // HTML: what saving would change
  Fields sent;                // for what is no setting: the calculator's fields, the rpm of the slider
};

std::string gauge_page_html(const ShopGauge& saved, const GaugeView& view);

// What stands at the right, for the page and for its script: ladder, face, table, thresholds.
struct GaugeSide {
  std::string ladder, face, table, play;
};
GaugeSide gauge_side(const Gauge& gauge, const std::optional<RpmRange>& scale, std::optional<double> rpm);

// "review": the differences in the words of `settings diff`, and the button that saves.
std::string review_html(const ShopGauge& saved, const CheckedForm& check);

}  // namespace tachproof

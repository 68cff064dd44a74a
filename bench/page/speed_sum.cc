#include "bench/page/speed_sum.h"

#include <fmt/format.h>

#include <cmath>

#include "bench/commands/command.h"
#include "bench/commands/units.h"
#include "bench/files/speeds.h"
#include "bench/page/form_html.h"
#include "bench/record/text.h"
#include "core/base/parse.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

double above_zero(const std::string& label, double value) {
  if (!(value > 0)) throw UsageError(label + " must be above 0");
  return value;
}

Tyre tyre_of(const Fields& sent) {
  const std::string kind = sent.get("calc_tyre"), length = sent.get("calc_length");
  const std::string given = sent.get("calc_uncertainty");
  const auto with = [&](double value, double usual) {
    const double expanded = given.empty() ? usual : length_m("Uncertain by", given);
    if (!(expanded >= 0 && expanded < value))
      throw UsageError("what the tyre is uncertain by must be smaller than the length itself");
    return Quantity{value, expanded / speed_coverage};
  };
  if (kind == "rollout") {
    const std::size_t slash = length.find('/');
    if (slash == length.npos)
      throw UsageError("Rollout is '" + length + "'; allowed is a length and turns, such as 10.1m/5");
    const double turns =
        above_zero("the turns of a rollout", plain_number("Turns", length.substr(slash + 1)));
    return Tyre::rolled_out(
        with(above_zero("Rollout", length_m("Rollout", length.substr(0, slash))), usual_rollout_m), turns);
  }
  const double metres = above_zero("Length", length_m("Length", length));
  if (kind != "tyre_diameter") return {with(metres, metres * usual_circumference_share)};
  const std::string factor = sent.get("calc_factor");
  return Tyre::of_diameter(
      with(metres, metres * usual_diameter_share),
      factor.empty() ? 1 : above_zero("Rolling factor", plain_number("Rolling factor", factor)));
}

std::string answer_html(const GaugeForm& form, const Fields& sent) {
  try {
    const SpeedSum sum = speed_sum(sent, step_of(form));
    const std::optional<Speed> limit = speed_in(sent.get("calc_limit"));
    const SpeedUnit unit = limit ? limit->unit : SpeedUnit::kmh;
    std::string html = fmt::format(
        "<p class=\"answer\" role=\"status\"><b>{} rpm</b>: exactly {} &plusmn; {} rpm (k = 2). There the "
        "car does "
        "{}.</p>\n",
        number_text(sum.anchor_rpm), fixed(sum.rpm, 2), fixed(sum.expanded_rpm, 2),
        escaped(speed_words(sum.speed, unit)));
    if (sum.anchor_rpm > sum.expanded_rpm)
      html += fmt::format("<p>{} rpm keeps the limit even with the uncertainty against you.</p>\n",
                          fixed(std::floor(sum.rpm - sum.expanded_rpm), 0));
    for (std::size_t i = 0; i < form.anchors.size(); ++i)
      html += FormHtml::button(
          fmt::format("take-speed-{}", i),
          fmt::format("Write {} into {}", number_text(sum.anchor_rpm), form.anchors[i].first), "small");
    return html;
  } catch (const UsageError& e) {
    return fmt::format("<p class=\"wrong\" role=\"alert\">{}</p>\n", escaped(e.what()));
  }
}

}  // namespace

double step_of(const GaugeForm& form) {
  const std::optional<double> step = parse_number<double>(form.resolution_rpm);
  return step && *step > 0 && std::isfinite(*step) ? *step : 1;
}

SpeedSum speed_sum(const Fields& sent, double step_rpm) {
  const Gearing gearing{above_zero("Gear ratio", plain_number("Gear ratio", sent.get("calc_gear"))),
                        above_zero("Final drive", plain_number("Final drive", sent.get("calc_final_drive")))};
  const Tyre tyre = tyre_of(sent);
  const double limit = above_zero("Limit", speed_m_per_s("Limit", sent.get("calc_limit")));
  const std::string margin = sent.get("calc_margin"), acts = sent.get("calc_acts");
  const double below = margin.empty() ? 0 : speed_m_per_s("Margin", margin);
  if (!(below >= 0 && below < limit))
    throw UsageError("Margin must be 0 or more, and smaller than the limit");
  constexpr double usual_gauge_rpm = 3;
  const double gauge_rpm = acts.empty() ? usual_gauge_rpm : rpm_value("Gauge acts within", acts);
  if (!(gauge_rpm >= 0)) throw UsageError("what the gauge acts within must be 0 or more");
  const Quantity found = rpm_at_speed({limit - below, 0}, gearing, tyre);
  SpeedSum sum;
  sum.rpm = found.value;
  sum.expanded_rpm = speed_coverage * std::hypot(found.standard_uncertainty, gauge_rpm / speed_coverage);
  sum.anchor_rpm = std::floor(found.value / step_rpm + 1e-6) * step_rpm;
  if (!(sum.anchor_rpm > 0))
    throw UsageError("the limit is below what the unit can be set to with this gearing");
  sum.speed = speed_at_rpm({sum.anchor_rpm, gauge_rpm / speed_coverage}, gearing, tyre);
  return sum;
}

std::string speed_sum_html(const GaugeForm& form, const Fields& sent) {
  const bool asked = sent.get("calc_limit") != "";
  const auto value = [&](const char* name, const std::string& otherwise) {
    return sent.has(name) ? sent.get(name) : otherwise;
  };
  const std::map<std::string, std::vector<std::string>> nothing_wrong;
  const FormHtml html(nothing_wrong);
  return fmt::format(
      "<details id=\"speed\"{}><summary>From a speed limit to an anchor</summary>\n<div "
      "class=\"row\">{}{}{}{}{}{}{}{}{}"
      "</div>\n{}{}</details>\n",
      asked ? " open" : "", html.text("calc_limit", "Limit (60km/h)", value("calc_limit", ""), "short"),
      html.text("calc_margin", "Margin (2km/h)", value("calc_margin", ""), "short"),
      html.text("calc_gear", "Gear ratio", value("calc_gear", form.gear), "short"),
      html.text("calc_final_drive", "Final drive", value("calc_final_drive", form.final_drive), "short"),
      html.choice("calc_tyre", "The tyre's",
                  value("calc_tyre", form.tyre.empty() ? "tyre_circumference" : form.tyre),
                  {{"tyre_circumference", "circumference"},
                   {"tyre_diameter", "diameter"},
                   {"rollout", "rollout, length/turns"}}),
      html.text("calc_length", "is (1.98m, 25in)", value("calc_length", form.tyre_length), "short"),
      html.text("calc_factor", "Rolling factor (1)", value("calc_factor", form.rolling_factor), "short"),
      html.text("calc_uncertainty", "Uncertain by", value("calc_uncertainty", form.tyre_uncertainty),
                "short"),
      html.text("calc_acts", "Gauge acts within, rpm (3)", value("calc_acts", form.tolerance_rpm), "short"),
      FormHtml::button("speed", "Work it out", "small"), asked ? answer_html(form, sent) : "");
}

}  // namespace tachproof

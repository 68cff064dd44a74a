#include "bench/page/gauge_page.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/page/form_html.h"
#include "bench/page/frame.h"
#include "bench/page/gauge_form_html.h"
#include "bench/page/ladder.h"
#include "bench/page/speed_sum.h"
#include "bench/record/disk.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "core/base/parse.h"
#include "core/base/words.h"
#include "core/gauge/settings_change.h"

namespace tachproof {
namespace {

std::string errors_html(const CheckedForm& check) {
  std::string lines;
  for (const FileError& error : check.errors) lines += "<li>" + escaped(to_line(error)) + "</li>\n";
  return fmt::format(
      "<div class=\"trouble\" id=\"errors\" role=\"status\"{}><p><b class=\"count\">{}</b> to put right "
      "before this "
      "can be saved:</p>\n<ul>{}</ul></div>\n",
      check.errors.empty() ? " hidden" : "",
      check.errors.size() == 1 ? "One thing" : fmt::format("{} things", check.errors.size()), lines);
}

std::string side_html(const Gauge& gauge, const GaugeView& view) {
  const std::string asked = view.sent.get("at_rpm");
  const std::optional<double> rpm = parse_number<double>(asked);
  const bool fits = rpm && std::isfinite(*rpm);
  const GaugeSide side = gauge_side(gauge, {}, fits ? rpm : std::nullopt);
  const RpmRange range = range_of(gauge, nullptr);
  const double step = gauge.resolution_rpm > 0 ? gauge.resolution_rpm : 1;
  const double low = std::floor(range.lowest / step) * step, high = std::ceil(range.highest / step) * step;
  return fmt::format(
      "<p class=\"as-saved\"{}>Drawn without the last changes: what stands in the form is no sound "
      "gauge.</p>\n"
      "<div class=\"scroll\" id=\"ladder\">{}</div>\n<div class=\"unit\" id=\"face\" "
      "data-play=\"{}\">{}</div>\n"
      "<div class=\"field wide slide\"><label for=\"at_rpm\">At <output id=\"at\" for=\"at_rpm\"></output> "
      "rpm</label><input type=\"range\" id=\"at_rpm\" name=\"at_rpm\" min=\"{}\" max=\"{}\" step=\"{}\" "
      "value=\"{}\"></div>\n"
      "<p class=\"row\" id=\"blink-choice\" hidden><label><input type=\"checkbox\" id=\"blinks\" checked> "
      "lamps "
      "blink</label></p>\n<noscript>{}</noscript>\n<details><summary>As a table</summary><div "
      "id=\"table\">{}</div></details>\n",
      view.check.gauge ? " hidden" : "", side.ladder, escaped(side.play), side.face, number_text(low),
      number_text(high), number_text(step), number_text(fits ? *rpm : low),
      FormHtml::button("light", "Show the lamps at this rpm", "small"), side.table);
}

std::string tools(const ShopGauge& saved) {
  return fmt::format(
      "<p class=\"tools\"><a class=\"button\" href=\"{0}/lap\">Play a logged lap</a> <a class=\"button\" "
      "href=\"{0}/grade\">Grade and plan</a> <a class=\"button\" href=\"/deadband?gauge={1}\">How wide a "
      "deadband?</a></p>\n",
      saved.address(), url_encoded(saved.file));
}

}  // namespace

GaugeSide gauge_side(const Gauge& gauge, const std::optional<RpmRange>& scale, std::optional<double> rpm) {
  const Palette palette(gauge, "u-");
  const std::size_t window = rpm ? next_window(gauge, 0, *rpm) : 0;
  const Cue* const lit = rpm ? &gauge.windows[window].cue : nullptr;
  return {ladder_svg(gauge, palette, "u-", scale), face_svg(gauge, "u-", lit), ladder_table(gauge),
          play_json(gauge)};
}

std::string review_html(const ShopGauge& saved, const CheckedForm& check) {
  if (!check.gauge) return {};
  if (check.text == saved.text)
    return "<section class=\"review\" id=\"review\"><h2>Nothing differs from what is saved</h2></section>\n";
  std::string list;
  for (const std::string& sentence : sentences(settings_change(*saved.gauge, *check.gauge)))
    list += "<li>" + escaped(as_sentence(sentence)) + "</li>\n";
  if (list.empty()) list = "<li>Nothing that a unit does; only how the file is written.</li>\n";
  std::string lost;
  for (const std::string& comment : check.lost_comments)
    lost += "<li><code>" + escaped(comment) + "</code></li>\n";
  if (!lost.empty()) lost = "<p>These comments go with what they stood beside:</p>\n<ul>" + lost + "</ul>\n";
  std::string text;
  for (std::size_t at = 0; at < check.text.size();) {
    const std::size_t end = std::min(check.text.find('\n', at), check.text.size());
    text += escaped(std::string_view(check.text).substr(at, end - at)) + "\n";
    at = end + 1;
  }
  return fmt::format(
      "<section class=\"review\" id=\"review\" tabindex=\"-1\" aria-labelledby=\"review-head\">\n<h2 "
      "id=\"review-head\">What changes</h2>\n<ul>{}</ul>\n{}{}{}\n<details><summary>The file as it will "
      "be</summary><pre>{}</pre></details>\n</section>\n",
      list, lost, FormHtml::hidden("reviewed", sha256_of(check.text)),
      FormHtml::button("save", "Save", "strong"), text);
}

std::string gauge_page_html(const ShopGauge& saved, const GaugeView& view) {
  const Gauge& shown = view.check.gauge ? *view.check.gauge : *saved.gauge;
  std::string body = fmt::format("<h1>{}</h1>\n<p class=\"about\">{}</p>\n", escaped(saved.gauge->name),
                                 escaped(saved.file));
  if (!view.message.empty())
    body += fmt::format("<p class=\"trouble\" role=\"alert\">{}</p>\n", escaped(view.message));
  else if (!view.check.gauge && view.tells_trouble)
    body +=
        "<p class=\"trouble\" role=\"alert\">This cannot be saved yet. What is to be put right is said at "
        "its "
        "field, and <a href=\"#errors\">in one list</a>.</p>\n";
  if (!view.done.empty())
    body += fmt::format("<p class=\"note\" role=\"status\">{}</p>\n", escaped(view.done));
  body += tools(saved);
  body += "<div id=\"fills\">" + Palette(shown, "u-").definitions() + "</div>\n";
  body += fmt::format(
      "<form method=\"post\" action=\"{0}\" id=\"gauge\" data-check=\"{0}/check\">\n{1}"
      "<button name=\"do\" value=\"check\" class=\"hidden\" tabindex=\"-1\">Check</button>\n",
      saved.address(), FormHtml::hidden("sum", view.sent.has("sum") ? view.sent.get("sum") : saved.sum));
  body += view.review;
  body += "<div class=\"gauge-page\">\n<div class=\"gauge-form\">\n" +
          gauge_fields_html(view.form, "/deadband?gauge=" + url_encoded(saved.file), view.check.at_field) +
          speed_sum_html(view.form, view.sent) + errors_html(view.check) + "<p class=\"row save\">" +
          FormHtml::button("review", "Save ...", "strong") + FormHtml::button("check", "Check") +
          "</p>\n</div>\n<div class=\"gauge-side\">\n" + side_html(shown, view) +
          "</div>\n</div>\n</form>\n<script src=\"/gauge.js\" defer></script>\n";
  return framed_page("/gauges", saved.gauge->name, body);
}

}  // namespace tachproof

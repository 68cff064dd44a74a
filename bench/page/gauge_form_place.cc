// One gauge: its form is shown, checked, reviewed and saved.
#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "bench/commands/command.h"
#include "bench/page/frame.h"
#include "bench/page/gauge_page.h"
#include "bench/page/gauge_place.h"
#include "bench/page/shop_gauge.h"
#include "bench/page/speed_sum.h"
#include "bench/record/disk.h"
#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "bench/reports/hatch.h"
#include "core/base/parse.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr const char* gauge_page_type = "text/html; charset=utf-8";

// A file that check refuses has no form: what is in it that a form does not know would be lost.
std::string unsound_html(const ShopGauge& gauge) {
  std::string lines, text;
  for (const std::string& line : gauge.trouble) lines += "<li>" + escaped(line) + "</li>\n";
  for (std::size_t at = 0; at < gauge.text.size();) {
    const std::size_t end = std::min(gauge.text.find('\n', at), gauge.text.size());
    text += escaped(std::string_view(gauge.text).substr(at, end - at)) + "\n";
    at = end + 1;
  }
  const char* const why = gauge.gauge ? "This file says something that the form has no field for."
                                      : "This is no sound gauge file.";
  return framed_page("/gauges", gauge.file,
                     fmt::format("<h1>{}</h1>\n<div class=\"trouble\"><p>{} Change it in an editor, then "
                                 "open it here again.</p>\n<ul>{}</ul></div>\n<pre>{}</pre>\n",
                                 escaped(gauge.file), why, lines, text));
}

const char* const changed_meanwhile =
    "The file has changed since this form was loaded, so nothing was written. Open it again in another tab "
    "to see "
    "what is there now; what you typed is still in this form.";

void take_speed(GaugeForm& form, const Fields& sent, const std::string& which, GaugeView& view) {
  const std::optional<std::size_t> anchor = parse_number<std::size_t>(which);
  if (!anchor || *anchor >= form.anchors.size()) return;
  try {
    form.anchors[*anchor].second = number_text(speed_sum(sent, step_of(form)).anchor_rpm);
    view.done = "Written into the form: anchor " + form.anchors[*anchor].first + " is " +
                form.anchors[*anchor].second + " rpm. Save to keep it.";
  } catch (const UsageError& e) {
    view.message = e.what();
  }
}

// Saves what was reviewed, and only that. False, with the view as it is now, where it was not.
bool saved(const ShopGauge& gauge, GaugeView& view) {
  if (view.sent.get("reviewed") != sha256_of(view.check.text)) return false;
  try {
    // The last look: what another program has written since is not overwritten.
    if (sha256_of(whole_file(gauge.path)) == gauge.sum) {
      Replacement(gauge.path, view.check.text).move_into_place();
      return true;
    }
    view.message = changed_meanwhile;
  } catch (const std::runtime_error& e) {  // a full disk, a folder that may not be written
    view.message = std::string("Nothing was saved: ") + e.what() + ". What you typed is still in this form.";
  }
  return false;
}

Response answer_to_form(const ShopGauge& gauge, const Request& request) {
  GaugeView view;
  view.sent = request.form;
  view.form = form_of_fields(request.form);
  const std::string what = request.form.get("do");
  change_rows(view.form, what);
  if (what.starts_with("take-speed-")) take_speed(view.form, request.form, what.substr(11), view);
  view.check = checked(view.form, gauge.file, gauge.text);
  Response response;
  if (request.form.get("sum") != gauge.sum) {
    view.message = changed_meanwhile;
    response.status = 409;
  } else if ((what == "save" || what == "review") && view.check.gauge) {
    if (what == "save" && saved(gauge, view)) return see_other(gauge.address() + "?saved=yes");
    if (!view.message.empty()) response.status = 500;
    if (view.message.empty()) view.review = review_html(gauge, view.check);
  }
  // A row that was just added is empty, and no mistake yet.
  const bool only_rows = what.starts_with("add-") || what.starts_with("remove-");
  view.tells_trouble = !only_rows;
  if (!view.check.gauge && !only_rows && response.status == 200) response.status = 422;
  response.body = gauge_page_html(gauge, view);
  return response;
}

// The same for our script, which shows it while somebody types.
Response checked_json(const ShopGauge& gauge, const Request& request) {
  const CheckedForm check = checked(form_of_fields(request.form), gauge.file, gauge.text);
  Json out = {{"sound", check.gauge.has_value()}};
  out["fields"] = Json::object();
  for (const auto& [field, sentences] : check.at_field)
    out["fields"][field] = list_of(sentences, text_to_json);
  out["errors"] = Json::array();
  for (const FileError& error : check.errors) out["errors"].push_back(text_to_json(to_line(error)));
  if (check.gauge) {
    const auto low = parse_number<double>(request.form.get("ladder_low")),
               high = parse_number<double>(request.form.get("ladder_high"));
    std::optional<RpmRange> scale;
    if (low && high && *low >= 0 && *high > *low + 1 && *high < 1e6) scale = RpmRange{*low, *high};
    const GaugeSide side = gauge_side(*check.gauge, scale, std::nullopt);
    out["definitions"] = Palette(*check.gauge, "u-").definitions();
    out["ladder"] = side.ladder;
    out["face"] = side.face;
    out["table"] = side.table;
    out["play"] = side.play;
  }
  return plain_text(json_text(out), "application/json");
}

}  // namespace

void add_gauge_form_routes(Router& router, const Shop& shop) {
  const auto sound_only = [](const std::function<Response(const ShopGauge&, const Request&)>& handler) {
    return [handler](const ShopGauge& gauge, const Request& request) {
      const bool fits = gauge.gauge && is_whole(gauge.text);
      return fits ? handler(gauge, request) : plain_text(unsound_html(gauge), gauge_page_type);
    };
  };
  on_gauge(router, shop, "POST", "check", sound_only(checked_json));
  on_gauge(router, shop, "POST", "", sound_only(answer_to_form));
  on_gauge(router, shop, "GET", "", sound_only([](const ShopGauge& gauge, const Request& request) {
             GaugeView view;
             view.form = form_of_text(gauge.text);
             view.check = checked(view.form, gauge.file, gauge.text);
             if (request.query.has("saved")) view.done = "Saved.";
             return plain_text(gauge_page_html(gauge, view), gauge_page_type);
           }));
}

}  // namespace tachproof

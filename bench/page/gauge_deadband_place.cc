// How wide a deadband must be: flicker against width, under the noise of a file or of a recording.
#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "bench/commands/command.h"
#include "bench/commands/noise_source.h"
#include "bench/page/flicker_drawing.h"
#include "bench/page/form_html.h"
#include "bench/page/frame.h"
#include "bench/page/gauge_place.h"
#include "bench/page/shop_gauge.h"
#include "bench/page/studies.h"
#include "bench/record/disk.h"
#include "bench/record/json_values.h"
#include "bench/record/run_folder.h"
#include "bench/record/text.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "core/base/parse.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

struct DeadbandAsk {
  std::string gauge, noise, channel = "tach", boundary;
  std::string limit = "1";
};

DeadbandAsk ask_in(const Fields& query) {
  DeadbandAsk ask;
  ask.gauge = query.get("gauge");
  ask.noise = query.get("noise");
  ask.boundary = query.get("boundary");
  if (!query.get("limit").empty()) ask.limit = query.get("limit");
  if (!query.get("channel").empty()) ask.channel = query.get("channel");
  return ask;
}

std::string deadband_trouble(const std::string& lines) {
  std::string html;
  for (const std::string& line : wrapped(lines, 10'000)) html += escaped(line) + "<br>";
  return "<p class=\"trouble\" role=\"alert\">" + html + "</p>\n";
}

Noise noise_in(const Shop& shop, const DeadbandAsk& ask, const Errand& errand) {
  const auto path = shop.path_of(ask.noise);
  if (!path) throw UsageError("There is no noise file or recording " + ask.noise + " in this shop.");
  return load_noise_source(path->string(), ask.channel, [&] { stop_where_asked(errand); });
}

double limit_in(const DeadbandAsk& ask) {
  const std::optional<double> limit = parse_number<double>(ask.limit);
  if (!limit || !(*limit > 0 && *limit <= 10'000))
    throw UsageError("The limit is '" + ask.limit + "'; a number above 0, at most 10000");
  return *limit;
}

// As `tachproof deadband` sets it up.
DeadbandRecord studied(const Shop& shop, const Gauge& gauge, const DeadbandAsk& ask, Errand& errand) {
  DeadbandRecord record;
  record.ask.limit_per_min = limit_in(ask);
  record.gauge = gauge;
  record.noise = ask.noise;
  errand.phase("The noise is read.");
  record.ask.noise = noise_in(shop, ask, errand);
  record.ask.unit = unit_reading(gauge, {});
  if (gauge.drive) record.kmh_per_rpm = in_unit(gauge.drive->speed_at({1, 0}).value, SpeedUnit::kmh);
  errand.phase("The noise is being simulated at every boundary and width.");
  record.ask.between = [&] { stop_where_asked(errand); };
  record.study = study_flicker(gauge, record.ask);
  return record;
}

// The noise and what it names, told from any other.
std::string sum_of_noise(const Shop& shop, const DeadbandAsk& ask) {
  const auto path = shop.path_of(ask.noise);
  if (!path) throw UsageError("There is no noise file or recording " + ask.noise + " in this shop.");
  const std::string sum = sha256_of_file(*path);
  if (path->extension() != ".yaml" && path->extension() != ".yml") return sum;
  const std::vector<double> replay = load_noise(*path).replay;
  return sum + " " +
         sha256_of({reinterpret_cast<const char*>(replay.data()), replay.size() * sizeof(double)});
}

std::string chooser_html(const Shop& shop, const DeadbandAsk& ask) {
  FormHtml::Options gauges, noises, boundaries{{"", "the one that decides"}};
  for (const std::string& file : shop.files("gauge")) gauges.emplace_back(file, file);
  for (const std::string& file : shop.files("noise")) noises.emplace_back(file, file);
  for (const std::string& file : files_ending(shop, recording_endings())) noises.emplace_back(file, file);
  if (const auto gauge = shop_gauge(shop, ask.gauge); gauge && gauge->gauge)
    for (std::size_t w = 1; w < gauge->gauge->windows.size(); ++w)
      boundaries.emplace_back(gauge->gauge->windows[w].name, gauge->gauge->windows[w].name);
  const std::map<std::string, std::vector<std::string>> nothing_wrong;
  const FormHtml html(nothing_wrong);
  const auto first = [](const std::string& value, const FormHtml::Options& options) {
    return value.empty() && !options.empty() ? options.front().first : value;
  };
  return fmt::format(
      "<form action=\"/deadband\" class=\"row\" data-waits=\"The noise is being simulated at every boundary "
      "and width "
      "...\">{}{}{}{}{}<button>Work it out</button></form>\n<details><summary>Hand in a recording of the "
      "tach "
      "line</summary>\n<form method=\"post\" action=\"/deadband/recordings\" enctype=\"multipart/form-data\" "
      "class=\"row\">{}<div class=\"field\"><label for=\"recording\">VCD, CSV or edge times, at most 64 "
      "MB</label><input "
      "type=\"file\" id=\"recording\" name=\"recording\" accept=\".vcd,.csv,.txt\" "
      "required></div>{}<button>Hand "
      "in</button></form></details>\n",
      html.choice("gauge", "Gauge", first(ask.gauge, gauges), gauges),
      html.choice("noise", "Noise file or recording", first(ask.noise, noises), noises),
      html.choice("boundary", "Boundary", ask.boundary, boundaries),
      html.text("limit", "Changes a minute, at most", ask.limit, "short"),
      html.text("channel", "Tach channel of a recording", ask.channel, "short"),
      FormHtml::hidden("gauge", ask.gauge), html.text("upload-channel", "Its tach channel", "tach", "short"));
}

std::string result_html(const DeadbandRecord& record, const DeadbandAsk& ask) {
  std::size_t shown = record.study.decisive;
  for (std::size_t i = 0; i < record.study.boundaries.size(); ++i)
    if (record.study.boundaries[i].boundary == ask.boundary) shown = i;
  return flicker_html(record, shown);
}

constexpr const char* deadband_title = "How wide a deadband?";

std::string above_result(const Shop& shop, const DeadbandAsk& ask) {
  return "<p class=\"about\">How often the lamps of a sound unit would change while the engine holds a "
         "steady "
         "speed, against the width of the deadband. This predicts; it tests no unit.</p>\n" +
         chooser_html(shop, ask) + "<script src=\"/gauge.js\" defer></script>\n";
}

Response deadband_page(const Shop& shop, const DeadbandAsk& ask, const std::string& rest, unsigned status) {
  Response response;
  response.status = status;
  response.body = framed_page("/gauges", deadband_title,
                              fmt::format("<h1>{}</h1>\n", deadband_title) + above_result(shop, ask) + rest);
  return response;
}

Response deadband_study(const Shop& shop, const DeadbandAsk& ask, Errands& errands, const Request& request) {
  const auto gauge = shop_gauge(shop, ask.gauge);
  if (!gauge) throw UsageError("There is no gauge file " + ask.gauge + " in this shop.");
  if (!gauge->gauge) throw UsageError(gauge->trouble.empty() ? "" : gauge->trouble.front());
  if (gauge->gauge->boundaries() == 0)
    throw UsageError("This gauge has no boundary, so nothing can flicker.");
  limit_in(ask);
  const std::string asked = fmt::format(
      "gauge={}&noise={}&boundary={}&limit={}&channel={}", url_encoded(ask.gauge), url_encoded(ask.noise),
      url_encoded(ask.boundary), url_encoded(ask.limit), url_encoded(ask.channel));
  const StudyPage page{"deadband " + gauge->sum + " " + sum_of_noise(shop, ask) + " " + asked,
                       "/deadband?" + asked, "/gauges", deadband_title, above_result(shop, ask)};
  const auto does = [&shop, of = *gauge->gauge, ask](Errand& errand) {
    return result_html(studied(shop, of, ask, errand), ask);
  };
  return study(errands, request, page, does, [&](const std::string& html) {
    const std::string of =
        fmt::format("<p><a href=\"{}\">{}</a></p>\n", gauge->address(), escaped(gauge->gauge->name));
    return deadband_page(shop, ask, of + html, 200);
  });
}

Response deadband_answer(const Shop& shop, Errands& errands, const Request& request) {
  const DeadbandAsk ask = ask_in(request.query);
  if (ask.noise.empty()) return deadband_page(shop, ask, {}, 200);
  try {
    return deadband_study(shop, ask, errands, request);
  } catch (const UsageError& e) {
    return deadband_page(shop, ask, deadband_trouble(e.what()), 422);
  } catch (const FileErrors& e) {
    return deadband_page(shop, ask, deadband_trouble(e.what()), 422);
  }
}

}  // namespace

void add_gauge_deadband_routes(Router& router, const Shop& shop, const std::shared_ptr<Errands>& errands) {
  router.on("GET", "/deadband",
            [&shop, errands](const Request& request) { return deadband_answer(shop, *errands, request); });
}

}  // namespace tachproof

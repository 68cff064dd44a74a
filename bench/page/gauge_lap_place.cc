// A logged lap played on a gauge: what the driver should have seen.
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "bench/commands/command.h"
#include "bench/commands/driver_view.h"
#include "bench/commands/load.h"
#include "bench/files/regular_file.h"
#include "bench/files/rpm_log.h"
#include "bench/page/form_html.h"
#include "bench/page/frame.h"
#include "bench/page/gauge_place.h"
#include "bench/page/ladder.h"
#include "bench/page/shop_gauge.h"
#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "bench/reports/svg.h"
#include "core/base/parse.h"

namespace tachproof {
namespace {

struct Lap {
  LogFacts facts;
  Profile profile;
  std::vector<RpmPoint> line;
  ExpectedRun expected;
  Nanos lasts() const { return line.back().at; }
};

std::string text_of_log(const std::filesystem::path& file) {
  try {
    return RegularFile(file).all(most_log_bytes);
  } catch (const NotReadable& e) {
    throw UsageError(e.what());
  }
}

// The cells of what looks like a header, to choose from; the reader has the last word.
std::vector<std::string> columns_in(std::string_view text) {
  for (int number = 0; number < 100 && !text.empty(); ++number) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    std::string_view line = text.substr(0, end);
    text.remove_prefix(std::min(end + 1, text.size()));
    if (line.ends_with('\r')) line.remove_suffix(1);
    if (line.starts_with('#')) continue;
    char separator = ',';
    for (const char c : {';', '\t'})
      if (std::count(line.begin(), line.end(), c) > std::count(line.begin(), line.end(), separator))
        separator = c;
    std::vector<std::string> cells;
    bool numbers = false;
    for (std::string_view rest = line;;) {
      const std::size_t cut = std::min(rest.find(separator), rest.size());
      std::string_view cell = rest.substr(0, cut);
      while (!cell.empty() && (cell.front() == ' ' || cell.front() == '"')) cell.remove_prefix(1);
      while (!cell.empty() && (cell.back() == ' ' || cell.back() == '"')) cell.remove_suffix(1);
      numbers = numbers || parse_number<double>(cell);
      if (!cell.empty()) cells.emplace_back(cell);
      if (cut == rest.size()) break;
      rest.remove_prefix(cut + 1);
    }
    if (cells.size() >= 2 && !numbers) return cells;
  }
  return {};
}

Lap read_lap(const Gauge& gauge, const std::string& name, const std::string& text, const Fields& asked) {
  LogAsk ask;
  ask.time = asked.get("time");
  ask.rpm = asked.get("rpm");
  ask.time_in = asked.get("time_in");
  auto log = read_rpm_log(text, ask);
  if (const LogTrouble* trouble = std::get_if<LogTrouble>(&log))
    throw UsageError(fmt::format("{}: {}; {}", name, trouble->found, trouble->allowed));
  const RpmLog& sound = std::get<RpmLog>(log);
  ScenarioFile scenario;
  scenario.name = name;
  scenario.steps = {sound.step};
  Lap lap{sound.facts, make_profile(scenario, name), {}, {}};
  for (const LoggedRpm::Sample& sample : *sound.step.samples) lap.line.push_back({sample.at, sample.rpm});
  lap.expected = expect(gauge, lap.profile);
  return lap;
}

// When each window must be shown, by exact thresholds and the fastest allowed response.
Json windows_in_time(const Lap& lap) {
  Json list = Json::array();
  list.push_back({0.0, 0});
  Nanos last = 0;
  for (const ExpectedTransition& t : lap.expected.transitions) {
    last = std::max(last, t.nominal);
    list.push_back({to_seconds(last), t.direction == Direction::rising ? t.boundary : t.boundary - 1});
  }
  return list;
}

std::string lap_svg(const Gauge& gauge, const Lap& lap, const std::vector<RpmPoint>& points) {
  constexpr double width = 900, height = 260, left = 60, right = 770, top = 10, bottom = 230;
  const double low = std::max(0.0, lap.facts.lowest_rpm - 50), high = lap.facts.highest_rpm + 50;
  const Scale y{low, high, bottom, top}, x{0, to_seconds(lap.lasts()), left, right};
  std::string svg = fmt::format(
      "<svg class=\"lap\" viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\" aria-label=\"rpm over the lap, with the "
      "windows\" "
      "data-left=\"{:.0f}\" data-right=\"{:.0f}\">\n",
      width, height, left, right);
  double label_above = bottom + 20;
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    const double from = std::max(gauge.windows[w].from_rpm, low);
    const double to = w + 1 < gauge.windows.size() ? std::min(gauge.windows[w + 1].from_rpm, high) : high;
    if (!(from < to)) continue;
    svg += svg_rect({left, y(to)}, right - left, y(from) - y(to), w % 2 == 0 ? "band-even" : "band-odd");
    const double middle = (y(from) + y(to)) / 2 + 5;
    if (label_above - middle < 15) continue;
    label_above = middle;
    svg += svg_text({right + 6, middle}, shortened(printable(gauge.windows[w].name), 14), "name");
  }
  const Ticks rpm = round_ticks(low, high, 5), seconds = round_ticks(0, to_seconds(lap.lasts()), 8);
  for (const double value : rpm.values)
    svg += svg_text({left - 6, y(value) + 5}, fixed(value, 0), "name", Anchor::end);
  for (const double value : seconds.values)
    svg += svg_text({x(value), bottom + 20}, fixed(value, seconds.decimals) + " s", "name", Anchor::middle);
  std::vector<Point> path;
  for (const RpmPoint& point : points) path.push_back({x(to_seconds(point.at)), y(point.rpm)});
  return svg + svg_path(path, "track") +
         fmt::format("<path class=\"cursor\" d=\"M{0:.0f} {1:.0f}V{2:.0f}\"/>\n</svg>\n", left, top, bottom);
}

std::string seen_table(const Gauge& gauge, const Lap& lap) {
  const std::vector<WindowSeen> seen = windows_seen(gauge, lap.expected, lap.lasts());
  std::string rows;
  for (std::size_t w = 0; w < seen.size(); ++w)
    rows += fmt::format(
        "<tr><th scope=\"row\">{}</th><td class=\"n\">{}</td><td class=\"n\">{:.2f}</td><td "
        "class=\"n\">{:.2f}</td>"
        "<td>{}</td></tr>\n",
        escaped(gauge.windows[w].name), seen[w].times, to_seconds(seen[w].in_all),
        to_seconds(seen[w].longest), escaped(gauge.describe(gauge.windows[w].cue)));
  return "<h2>What the driver should have seen</h2>\n<div class=\"scroll\"><table><thead><tr><th "
         "scope=\"col\">window</th><th scope=\"col\" class=\"n\">times</th><th scope=\"col\" class=\"n\">in "
         "all, s</th>"
         "<th scope=\"col\" class=\"n\">longest, s</th><th scope=\"col\">shows</th></tr></thead>\n<tbody>\n" +
         rows + "</tbody></table></div>\n";
}

std::string played(const Gauge& gauge, const Lap& lap) {
  const std::vector<RpmPoint> points = drawable(lap.line, 0, lap.lasts(), 700);
  Json line = Json::array();
  for (const RpmPoint& point : points) line.push_back({to_seconds(point.at), point.rpm});
  const Json data = {{"windows", windows_in_time(lap)}, {"line", line}, {"lasts", to_seconds(lap.lasts())}};
  const Palette palette(gauge, "u-");
  return fmt::format(
      "<p class=\"about\">{} samples, {:.0f} a second, {:.1f} s, {:.0f} to {:.0f} rpm. The time is in {} "
      "({}).</p>\n"
      "{}<div class=\"unit\" id=\"face\" data-play=\"{}\">{}</div>\n<div id=\"player\" data-lap=\"{}\" "
      "hidden>\n"
      "<p class=\"rpm\"><b class=\"value\">-</b> rpm <span class=\"left\"></span></p>\n"
      "<div class=\"field wide slide\"><label for=\"lap-time\">Time</label><input type=\"range\" "
      "id=\"lap-time\" "
      "min=\"0\" max=\"{:.2f}\" step=\"0.01\" value=\"0\"></div>\n<p class=\"row\"><button type=\"button\" "
      "id=\"lap-play\">Play</button><label><input type=\"checkbox\" id=\"lap-slow\"> four times "
      "slower</label></p>\n</div>\n<p class=\"row\" id=\"blink-choice\" hidden><label><input "
      "type=\"checkbox\" id=\"blinks\" checked> lamps blink</label></p>\n"
      "<div class=\"scroll\">{}</div>\n{}",
      lap.facts.samples, lap.facts.samples_per_s, to_seconds(lap.lasts()), lap.facts.lowest_rpm,
      lap.facts.highest_rpm, escaped(lap.facts.time_unit), escaped(lap.facts.unit_by), palette.definitions(),
      escaped(play_json(gauge)), face_svg(gauge, "u-", nullptr), escaped(json_text(data)),
      to_seconds(lap.lasts()), lap_svg(gauge, lap, points), seen_table(gauge, lap));
}

std::string column_choice(const FormHtml& html, const std::string& name, const char* label,
                          const std::string& value, const std::vector<std::string>& columns,
                          std::size_t usual) {
  FormHtml::Options options;
  for (const std::string& column : columns) options.emplace_back(column, column);
  const std::string chosen =
      !value.empty() || columns.empty() ? value : columns[std::min(usual, columns.size() - 1)];
  return html.choice(name, label, chosen, options);
}

Response lap_page(const Shop& shop, const ShopGauge& gauge, const Fields& asked) {
  const std::map<std::string, std::vector<std::string>> nothing_wrong;
  const FormHtml html(nothing_wrong);
  const std::string log = asked.get("log"), title = gauge.gauge->name + ": a logged lap";
  FormHtml::Options logs;
  for (const std::string& file : files_ending(shop, {".csv", ".txt"})) logs.emplace_back(file, file);
  std::string fields =
                  html.choice("log", "Log", log.empty() && !logs.empty() ? logs.front().first : log, logs),
              rest;
  Response response;
  if (!log.empty()) try {
      const auto path = shop.path_of(log);
      if (!path) throw UsageError("There is no log " + log + " in this shop.");
      const std::string text = text_of_log(*path);
      const std::vector<std::string> columns = columns_in(text);
      fields += column_choice(html, "time", "Column of the time", asked.get("time"), columns, 0) +
                column_choice(html, "rpm", "Column of the rpm", asked.get("rpm"), columns, 1) +
                html.choice("time_in", "The time is in", asked.get("time_in"),
                            {{"", "as the file says"}, {"s", "seconds"}, {"ms", "milliseconds"}});
      if (!asked.get("time").empty() && !asked.get("rpm").empty())
        rest = played(*gauge.gauge, read_lap(*gauge.gauge, log, text, asked));
    } catch (const UsageError& e) {
      response.status = 422;
      rest = fmt::format("<p class=\"trouble\" role=\"alert\">{}</p>\n", escaped(e.what()));
    }
  const std::string body =
      fmt::format("<h1>{}</h1>\n<p class=\"about\"><a href=\"{}\">{}</a></p>\n", escaped(title),
                  gauge.address(), escaped(gauge.file)) +
      (logs.empty() ? "<p>This shop has no log yet: a CSV file with a column of time and one of rpm.</p>\n"
                    : fmt::format("<form action=\"{}/lap\" class=\"row\">{}<button>{}</button></form>\n",
                                  gauge.address(), fields, log.empty() ? "Choose its columns" : "Show")) +
      rest + "<script src=\"/gauge.js\" defer></script>\n";
  response.body = framed_page("/gauges", title, body);
  return response;
}

}  // namespace

void add_gauge_lap_routes(Router& router, const Shop& shop) {
  on_gauge(router, shop, "GET", "lap", [&shop](const ShopGauge& gauge, const Request& request) {
    return gauge.gauge ? lap_page(shop, gauge, request.query) : see_other(gauge.address());
  });
}

}  // namespace tachproof

#include "bench/commands/driver_view.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "bench/reports/drawing.h"
#include "bench/reports/page.h"

namespace tachproof {
namespace {

constexpr int points_of_a_curve = 400;  // of one segment, where it is no line

// The profile as a line, and what must be lit, for the drawing of a run.
Trace trace_of(const Profile& profile, const ExpectedRun& expected) {
  Trace trace;
  trace.reaches = expected.reaches;
  for (const Segment& g : profile.segments()) {
    const int points = g.shape == Segment::Shape::sine ? points_of_a_curve : 1;
    for (int i = 0; i <= points; ++i) {
      const double s = g.lasts_s * i / points;
      trace.rpm.push_back({g.start.whole + std::llround(s * 1e9), g.rpm(s)});
    }
  }
  return trace;
}

}  // namespace

std::vector<WindowSeen> windows_seen(const Gauge& gauge, const ExpectedRun& expected, Nanos duration) {
  std::vector<WindowSeen> seen(gauge.windows.size());
  std::size_t window = 0;
  Nanos since = 0;
  const auto leave = [&](Nanos at) {
    if (at <= since) return;
    seen[window].times += 1;
    seen[window].in_all += at - since;
    seen[window].longest = std::max(seen[window].longest, at - since);
  };
  for (const ExpectedTransition& t : expected.transitions) {
    const Nanos at = std::clamp(t.nominal, since, std::max(since, duration));
    leave(at);
    window = t.direction == Direction::rising ? t.boundary : t.boundary - 1;
    since = at;
  }
  leave(duration);
  return seen;
}

std::string seen_text(const Gauge& gauge, const std::vector<WindowSeen>& seen) {
  std::size_t widest = std::string_view("window").size();
  for (const Window& window : gauge.windows) widest = std::max(widest, window.name.size());
  std::string text = fmt::format("\nWhat the driver should have seen\n{:{}}{:>8}{:>12}{:>12}  {}\n", "window",
                                 widest, "times", "in all s", "longest s", "shows");
  for (std::size_t w = 0; w < seen.size(); ++w)
    text += fmt::format("{:{}}{:>8}{:>12.2f}{:>12.2f}  {}\n", gauge.windows[w].name, widest, seen[w].times,
                        to_seconds(seen[w].in_all), to_seconds(seen[w].longest),
                        gauge.describe(gauge.windows[w].cue));
  return text;
}

void add_seen(nlohmann::ordered_json& out, const Gauge& gauge, const std::vector<WindowSeen>& seen) {
  out["windows"] = nlohmann::ordered_json::array();
  for (std::size_t w = 0; w < seen.size(); ++w)
    out["windows"].push_back({{"window", text_to_json(gauge.windows[w].name)},
                              {"times", seen[w].times},
                              {"in_all_s", to_seconds(seen[w].in_all)},
                              {"longest_s", to_seconds(seen[w].longest)}});
}

std::string driver_view_html(const Gauge& gauge, const std::string& scenario, const Profile& profile,
                             const ExpectedRun& expected) {
  RunRecord record;
  record.gauge = gauge;
  record.result.duration = profile.duration();
  const Palette palette(gauge);
  const Trace trace = trace_of(profile, expected);
  std::string rows;
  const std::vector<WindowSeen> seen = windows_seen(gauge, expected, profile.duration());
  for (std::size_t w = 0; w < seen.size(); ++w)
    rows += fmt::format(
        "<tr><td class=\"w\">{}</td><td class=\"n\">{}</td><td class=\"n\">{:.2f}</td><td "
        "class=\"n\">{:.2f}</td><td class=\"m\">{}</td></tr>\n",
        escaped(gauge.windows[w].name), seen[w].times, to_seconds(seen[w].in_all),
        to_seconds(seen[w].longest), escaped(gauge.describe(gauge.windows[w].cue)));
  const std::string title = fmt::format("{}: what must be seen of {}", scenario, gauge.name);
  const std::string body = fmt::format(
      "{}<h1>Tachproof: <b>what must be seen</b></h1>\n<p>{}, of a sound unit of {}. Nothing was measured: "
      "this "
      "comes from the settings and the profile alone. Thresholds are exact, the response is the fastest that "
      "is "
      "allowed.</p>\n<figure><div class=\"scroll\">{}</div>\n{}</figure>\n<h2>Windows</h2>\n<div "
      "class=\"scroll\"><table><thead><tr><th>window</th><th class=\"n\">times</th><th class=\"n\">in all, "
      "s</th><th class=\"n\">longest, s</th><th>shows</th></tr></thead>\n<tbody>\n{}</tbody></table></div>\n",
      palette.definitions(), escaped(scenario), escaped(gauge.name), overview_drawing(record, trace, palette),
      overview_legend(palette), rows);
  return html_page(title, "", body);
}

}  // namespace tachproof

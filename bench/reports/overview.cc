#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/drawing.h"
#include "bench/reports/strip.h"
#include "bench/reports/svg.h"

namespace tachproof {
namespace {

constexpr double width = 900;
constexpr double left = 148;
constexpr double right = 770;
constexpr double top = 14;
constexpr std::size_t columns = 622;  // one a user unit between left and right
constexpr double strip_height = 13;

struct TimeUnit {
  double seconds;
  const char* name;
};
TimeUnit unit_for(double seconds) {
  if (seconds <= 180) return {1, "s"};
  if (seconds <= 3 * 3600) return {60, "min"};
  return {3600, "h"};
}

Nanos end_of(const RunRecord& record, const Trace& trace) {
  Nanos end = std::max<Nanos>(record.result.duration, 1);
  if (!trace.rpm.empty()) end = std::max(end, trace.rpm.back().at);
  if (!trace.lamps.empty()) end = std::max(end, trace.lamps.back().at);
  return end;
}

// Room for a label at each height, no two closer than `gap`: from the bottom
// up, then back down from the top where they ran over it.
std::vector<double> spread(const std::vector<double>& downward, double lowest, double highest, double gap) {
  std::vector<double> y = downward;  // from the bottom of the drawing to its top
  for (std::size_t i = 0; i < y.size(); ++i) y[i] = std::min(y[i], i == 0 ? lowest : y[i - 1] - gap);
  for (std::size_t i = y.size(); i-- > 0;)
    y[i] = std::max(y[i], i + 1 == y.size() ? highest : y[i + 1] + gap);
  return y;
}

class Overview {
 public:
  Overview(const RunRecord& record, const Trace& trace, const Palette& palette)
      : record_(record), trace_(trace), palette_(palette), end_(end_of(record, trace)) {
    unit_ = unit_for(to_seconds(end_));
    time_ = {0, to_seconds(end_) / unit_.seconds, left, right};
    rpm_line_ = drawable(trace.rpm, 0, end_, columns);
    bottom_ = top + std::clamp(14.0 * static_cast<double>(record.gauge.boundaries()), 220.0, 700.0);
    const auto less = [](const RpmPoint& a, const RpmPoint& b) { return a.rpm < b.rpm; };
    double lowest = 0;
    double highest = 1000;
    if (!rpm_line_.empty()) {
      lowest = std::min_element(rpm_line_.begin(), rpm_line_.end(), less)->rpm;
      highest = std::max_element(rpm_line_.begin(), rpm_line_.end(), less)->rpm;
    }
    const double room = std::max(10.0, 0.06 * (highest - lowest));
    rpm_ = {lowest - room, highest + room, bottom_, top};
  }

  std::string draw() {
    frame();
    boundaries();
    line();
    findings();
    lamps();
    const std::string head = fmt::format(
        "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"rpm, expected and seen lamps against time\">\n",
        fixed(width, 0), fixed(y_ + 4, 0));
    return head + svg_ + "</svg>\n";
  }

 private:
  double x(Nanos t) const { return time_(to_seconds(t) / unit_.seconds); }

  void frame() {
    const Ticks rpm = round_ticks(rpm_.from, rpm_.to, 6);
    for (const double value : rpm.values) {
      svg_ += svg_line({left, rpm_(value)}, {right, rpm_(value)}, "grid");
      svg_ += svg_text({left - 8, rpm_(value) + 4}, fixed(value, rpm.decimals), "small", Anchor::end);
    }
    svg_ += svg_text({left - 52, (top + bottom_) / 2}, "rpm", "label", Anchor::end);
    const Ticks time = round_ticks(time_.from, time_.to, 10);
    for (const double value : time.values) {
      svg_ += svg_line({time_(value), bottom_}, {time_(value), bottom_ + 5}, "axis");
      svg_ += svg_text({time_(value), bottom_ + 18}, fixed(value, time.decimals), "small", Anchor::middle);
    }
    svg_ += svg_text({right + 10, bottom_ + 18}, unit_.name, "label");
    svg_ += svg_line({left, bottom_}, {right, bottom_}, "axis");
    svg_ += svg_line({left, top}, {left, bottom_}, "axis");
    y_ = bottom_ + 24;
  }

  void boundaries() {
    const Gauge& gauge = record_.gauge;
    std::vector<std::size_t> visible;
    std::vector<double> heights;
    for (std::size_t b = 1; b < gauge.windows.size(); ++b) {
      const double rising = gauge.rising_rpm(b);
      if (!(rising >= rpm_.from && rising <= rpm_.to)) continue;
      visible.push_back(b);
      heights.push_back(rpm_(rising) + 4);
    }
    const std::vector<double> labels = spread(heights, bottom_, top + 6, 13);
    for (std::size_t i = 0; i < visible.size(); ++i) {
      const double rising = rpm_(gauge.rising_rpm(visible[i]));
      const double falling = rpm_(gauge.falling_rpm(visible[i]));
      svg_ += svg_line({left, rising}, {right, rising}, "rising");
      if (falling - rising > 2) svg_ += svg_line({left, falling}, {right, falling}, "falling");
      svg_ += svg_path({{right, rising}, {right + 8, labels[i] - 4}, {right + 12, labels[i] - 4}}, "leader");
      svg_ += svg_text({right + 15, labels[i]},
                       shortened(printable(gauge.windows[visible[i]].name), 11) + " " +
                           fixed(gauge.rising_rpm(visible[i]), 0),
                       "small");
    }
  }

  void line() {
    std::vector<Point> points;
    for (const RpmPoint& p : rpm_line_) points.push_back({x(p.at), rpm_(p.rpm)});
    svg_ += svg_path(points, "rpm");
    if (points.empty())
      svg_ += svg_text({(left + right) / 2, (top + bottom_) / 2}, "no rpm was recorded", "strong",
                       Anchor::middle);
  }

  // A mark for the first finding of each kind, numbered as in the table, as far as there is room.
  void findings() {
    const std::vector<Finding>& all = record_.result.findings;
    if (all.empty()) return;
    constexpr std::size_t most = 200;
    double free_from = 0;
    svg_ += svg_text({left - 8, y_ + 14}, "findings", "small", Anchor::end);
    const std::vector<FindingGroup> groups = finding_groups(record_.result);
    for (std::size_t i = 0; i < std::min(most, groups.size()); ++i) {
      const double at = std::clamp(x(all[groups[i].first].at), left, right);
      svg_ += svg_path({{at, y_ + 2}, {at - 4, y_ + 9}, {at + 4, y_ + 9}, {at, y_ + 2}}, "mark");
      if (at < free_from) continue;
      svg_ += svg_text({at, y_ + 21}, std::to_string(i + 1), "small", Anchor::middle);
      free_from = at + 16;
    }
    y_ += 28;
  }

  void lamps() {
    const Gauge& gauge = record_.gauge;
    for (std::size_t lamp = 0; lamp < gauge.lamps.size(); ++lamp) {
      y_ += 6;
      const bool alone = record_.watch.empty();  // nothing was seen beside what was expected
      svg_ += svg_text({8, y_ + (alone ? 11 : 18)}, shortened(printable(gauge.lamps[lamp].id), 10), "strong");
      strip("expected", lamp, expected_spans(gauge, lamp, trace_.reaches));
      if (!alone) strip("seen", lamp, seen_spans(gauge, lamp, trace_.lamps));
    }
  }

  std::string fill(std::size_t lamp, LampState state) const {
    const std::vector<std::string>& colours = record_.gauge.lamps[lamp].colours;
    if (state.colour >= colours.size()) return "none";
    const std::size_t index = palette_.index(colours[state.colour]);
    return fmt::format("url(#{}-{})", state.kind == LampState::Kind::flashing ? "flash" : "lit", index);
  }

  std::string name(std::size_t lamp, const ColumnRun& run) const {
    const std::vector<std::string>& colours = record_.gauge.lamps[lamp].colours;
    const std::string colour = run.state.colour < colours.size() ? printable(colours[run.state.colour]) : "";
    const auto fits = [&](const std::string& text) {
      return static_cast<double>(run.columns) > 7.0 * static_cast<double>(code_points(text));
    };
    if (run.state.kind == LampState::Kind::flashing && fits(colour + " flashing"))
      return colour + " flashing";
    return fits(colour) ? colour : "";
  }

  void strip(const char* what, std::size_t lamp, const std::vector<LampSpan>& spans) {
    svg_ += svg_text({left - 8, y_ + 11}, what, "small", Anchor::end);
    const double middle = y_ + strip_height / 2;
    std::map<std::string, std::string> areas;  // by fill: one path each keeps the file small
    std::string lines;
    std::string names;
    for (const ColumnRun& run : column_runs(spans, end_, columns)) {
      const double from = left + static_cast<double>(run.first);
      const std::string box = fmt::format("M{} {}h{}v{}h-{}z", fixed(from, 0), fixed(y_, 1), run.columns,
                                          fixed(strip_height, 0), run.columns);
      switch (run.state.kind) {
        case LampState::Kind::unknown: break;
        case LampState::Kind::dark:
          lines += fmt::format("M{} {}h{}", fixed(from, 0), fixed(middle, 1), run.columns);
          break;
        case LampState::Kind::either: areas["url(#either)"] += box; break;
        case LampState::Kind::several: areas["#000"] += box; break;
        case LampState::Kind::lit:
        case LampState::Kind::flashing: {
          areas[fill(lamp, run.state)] += box;
          const double centre = from + static_cast<double>(run.columns) / 2;
          const std::string text = name(lamp, run);
          if (!text.empty()) names += svg_text({centre, y_ + 10}, text, "on-lamp", Anchor::middle);
        }
      }
    }
    if (!lines.empty()) svg_ += fmt::format("<path d=\"{}\" class=\"dark\"/>\n", lines);
    for (const auto& [colour, boxes] : areas)
      svg_ += fmt::format("<path d=\"{}\" fill=\"{}\" class=\"lamp\"/>\n", boxes, colour);
    svg_ += names;
    y_ += strip_height + 3;
  }

  const RunRecord& record_;
  const Trace& trace_;
  const Palette& palette_;
  Nanos end_;
  TimeUnit unit_{1, "s"};
  Scale time_, rpm_;
  std::vector<RpmPoint> rpm_line_;
  double bottom_ = 0;
  double y_ = 0;  // where the next row begins
  std::string svg_;
};

std::string swatch(const std::string& fill, const std::string& words) {
  return fmt::format(
      "<span class=\"swatch\"><svg viewBox=\"0 0 34 14\" width=\"34\" height=\"14\">{}</svg> {}</span>\n",
      fill, words);
}

std::string box(const std::string& fill) {
  return fmt::format("<rect x=\"1\" y=\"1\" width=\"32\" height=\"12\" fill=\"{}\" class=\"lamp\"/>", fill);
}

}  // namespace

std::string overview_drawing(const RunRecord& record, const Trace& trace, const Palette& palette) {
  return Overview(record, trace, palette).draw();
}

std::string overview_legend(const Palette& palette) {
  std::string html = "<p class=\"legend\">\n";
  for (std::size_t i = 0; i < palette.words().size(); ++i) {
    html += swatch(box(fmt::format("url(#lit-{})", i)), escaped(palette.words()[i]));
  }
  html += swatch(box("url(#flash)"), "bars in a colour: flashing");
  html += swatch("<path d=\"M1 7h32\" class=\"dark\"/>", "dark");
  html += swatch(box("url(#either)"), "either is allowed");
  html += swatch(box("#000"), "several colours at once");
  html += swatch("<path d=\"M1 7h32\" class=\"rising\"/>", "rising threshold");
  html += swatch("<path d=\"M1 7h32\" class=\"falling\"/>", "falling threshold");
  return html + "</p>\n";
}

}  // namespace tachproof

// The page of a grade: the ladder of windows, what is noticed at each boundary, what escapes.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bench/record/text.h"
#include "bench/reports/grade_report.h"
#include "bench/reports/page.h"
#include "bench/reports/svg.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr double width = 400, left = 78, right = 268, rung = 46, top = 40;  // narrow: read on a phone too
constexpr std::size_t most_drawn = 120;

// Windows as a ladder, the highest on top; at each boundary the shifts that are not noticed, as a
// bar between the smallest that is noticed downwards and upwards.
class Ladder {
 public:
  explicit Ladder(const Grade& grade) : grade_(grade), windows_(grade.gauge.windows.size()) {
    const double tolerance = grade.gauge.tolerance.rpm;
    double most = 2 * tolerance;
    for (const NoticedShift& shift : grade.shifts)
      if (std::isfinite(shift.rpm)) most = std::max(most, 1.2 * shift.rpm);
    most = std::clamp(most, 1.0, std::max(8 * tolerance, 1.0));
    scale_ = {-most, most, left, right};
  }

  std::string draw() {
    const double bottom = y_of(0) + rung;
    const double tolerance = grade_.gauge.tolerance.rpm;
    svg_ += svg_rect({scale_(-tolerance), top - 6}, scale_(tolerance) - scale_(-tolerance), bottom - top + 6,
                     "band");
    svg_ += svg_text({scale_(0), 16}, fmt::format("allowed: ± {} rpm", fixed(tolerance, 1)), "small",
                     Anchor::middle);
    svg_ += svg_line({scale_(0), top - 6}, {scale_(0), bottom}, "rising");
    for (std::size_t w = 0; w < windows_; ++w) window(w);
    axis(bottom);
    return fmt::format(
        "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"the windows of the gauge, and the smallest "
        "shift of each boundary that is noticed\">\n{}</svg>\n",
        fixed(width, 0), fixed(bottom + 34, 0), svg_);
  }

 private:
  double y_of(std::size_t window) const {
    return top + rung * static_cast<double>(windows_ - 1 - window);  // upper edge
  }
  double within(double rpm) const { return std::clamp(scale_(rpm), left, right); }

  void window(std::size_t w) {
    const Window& window = grade_.gauge.windows[w];
    const double y = y_of(w);
    svg_ += svg_text({4, y + 16}, shortened(printable(window.name), 30), "strong");
    svg_ += svg_text({4, y + 29}, shortened(printable(grade_.gauge.describe(window.cue)), 60), "small");
    if (w == 0) return;
    const double foot = y + rung;
    svg_ += svg_line({left, foot}, {right, foot}, "grid");
    svg_ += svg_text({left - 8, foot + 4}, number_text(window.from_rpm) + " rpm", "small", Anchor::end);
    const NoticedShift *up = shift(w, true), *down = shift(w, false);
    if (up == nullptr && down == nullptr) return;
    const double high = up != nullptr && std::isfinite(up->rpm) ? up->rpm : INFINITY;
    const double low = down != nullptr && std::isfinite(down->rpm) ? -down->rpm : -INFINITY;
    svg_ += svg_rect({within(low), foot - 5}, within(high) - within(low), 10, "allowed");
    std::string words = std::isfinite(low) ? html_minus(low) : "not seen";
    words += " … " + (std::isfinite(high) ? "+" + fixed(high, 1) : std::string("not seen"));
    svg_ += svg_text({right + 10, foot + 4}, words, "small");
  }

  static std::string html_minus(double value) { return "−" + fixed(-value, 1); }

  const NoticedShift* shift(std::size_t boundary, bool up) const {
    for (const NoticedShift& s : grade_.shifts)
      if (s.boundary == boundary && s.up == up) return &s;
    return nullptr;
  }

  void axis(double bottom) {
    svg_ += svg_line({left, bottom + 4}, {right, bottom + 4}, "axis");
    const Ticks ticks = round_ticks(scale_.from, scale_.to, 5);
    for (const double value : ticks.values) {
      svg_ += svg_line({scale_(value), bottom + 4}, {scale_(value), bottom + 9}, "axis");
      svg_ +=
          svg_text({scale_(value), bottom + 22}, with_sign(value, ticks.decimals), "small", Anchor::middle);
    }
    svg_ += svg_text({right + 10, bottom + 22}, "shift, rpm", "small");
  }

  const Grade& grade_;
  std::size_t windows_;
  Scale scale_;
  std::string svg_;
};

std::string table_of(const Grade& grade, Verdict verdict, const char* title) {
  if (grade.count(verdict) == 0) return "";
  std::string rows;
  for (const GradedFault& fault : grade.faults)
    if (fault.verdict == verdict)
      rows += fmt::format("<tr><td>{}</td><td class=\"m\">{}</td></tr>\n",
                          escaped(describe(fault.listed.fault, grade.gauge)), escaped(fault.why.clause));
  return fmt::format(
      "<h2>{}</h2>\n<div class=\"scroll stacked\"><table><thead><tr><th>the unit's "
      "fault</th><th>why</th></tr>"
      "</thead>\n<tbody>{}</tbody></table></div>\n",
      title, rows);
}

std::string caught_table(const Grade& grade) {
  std::string rows;
  for (const GradedFault& fault : grade.faults) {
    if (fault.verdict != Verdict::fail) continue;
    std::string smallest;
    if (fault.listed.sized() && std::isfinite(fault.smallest))
      smallest = fmt::format("{} {}", fixed(fault.smallest, 2), unit_of(fault.listed.fault.kind));
    rows += fmt::format("<tr><td>{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td><td>{}</td></tr>\n",
                        escaped(describe(fault.listed.fault, grade.gauge)), escaped(smallest),
                        fixed(to_seconds(fault.at), 2), escaped(fault.scenario));
  }
  return rows.empty() ? ""
                      : "<h2>Caught</h2>\n<div class=\"scroll\"><table><thead><tr><th>the unit's fault</th>"
                        "<th class=\"n\">smallest that is caught</th><th class=\"n\">seen at, s</th>"
                        "<th>scenario</th></tr></thead>\n<tbody>" +
                            rows + "</tbody></table></div>\n";
}

}  // namespace

std::string grade_html(const Grade& grade) {
  std::string body = fmt::format("<h1>What a test notices: <b>{}</b></h1>\n<p>{}</p>\n",
                                 escaped(grade.gauge.name), escaped(grade_answer(grade)));
  for (const GradedScenario& scenario : grade.scenarios)
    body += fmt::format("<p>Scenario {}: {} s of bench time; a unit without a fault: {}{}.</p>\n",
                        escaped(scenario.name), fixed(to_seconds(scenario.lasts), 1), word(scenario.sound),
                        scenario.why.empty() ? "" : ", " + escaped(scenario.why));
  body += fmt::format("<p>Bench: {}. All units were simulated.</p>\n", escaped(grade.rig));
  if (grade.gauge.windows.size() <= most_drawn && !grade.shifts.empty())
    body += "<figure><div class=\"scroll narrow\">" + Ladder(grade).draw() +
            "</div>\n<figcaption>The windows of the gauge, the highest on top. At the foot of each, the box "
            "holds the shifts of its boundary that are not noticed; what is beyond it fails. Grey: what the "
            "tolerance allows.</figcaption></figure>\n";
  body += table_of(grade, Verdict::pass, "Escape") + table_of(grade, Verdict::undecided, "Undecided") +
          caught_table(grade);
  if (!grade.left_out.empty()) {
    body += "<h2>Left out</h2>\n<p>No scenario can show these.</p>\n<ul>\n";
    for (const LeftOutFault& fault : grade.left_out)
      body +=
          fmt::format("<li>{}: {}</li>\n", escaped(describe(fault.fault, grade.gauge)), escaped(fault.why));
    body += "</ul>\n";
  }
  return html_page("Grade: " + grade.gauge.name, "", body);
}

}  // namespace tachproof

#include "bench/reports/html_tables.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/table_cells.h"

namespace tachproof {
namespace {

std::string with_true_minus(std::string text) {
  if (!text.empty() && text.front() == '-') text.replace(0, 1, "−");
  return text;
}

std::string measured_cells(const TransitionResult& t, const Gauge& gauge) {
  if (!t.seen)
    return fmt::format("<td class=\"w\" colspan=\"4\">{}, due {} to {} s</td>",
                       t.asked ? "<b>not seen</b>" : "not dated", html_number(to_seconds(t.earliest), 3),
                       html_number(to_seconds(t.latest), 3));
  if (t.between_rpm)
    return fmt::format("<td class=\"w\" colspan=\"4\">{}</td>", between_words(*t.between_rpm));
  if (t.step)
    return number_cell(html_number(t.observed_rpm, 1)) +
           number_cell(html_number(response_at_step_ms(t, gauge), 1) + " ms") +
           number_cell(fmt::format("{} to {} ms", html_number(to_ms(gauge.tolerance.response_from), 0),
                                   html_number(to_ms(gauge.tolerance.response_to), 0))) +
           number_cell("step");
  const int decimals = decimals_for(t.expanded_uncertainty_rpm);
  return number_cell(html_number(t.observed_rpm, decimals)) +
         number_cell(html_signed(t.deviation_rpm, decimals)) +
         number_cell(fmt::format("{} to {}", html_signed(t.lowest_rpm, 1), html_signed(t.highest_rpm, 1))) +
         number_cell(html_number(t.expanded_uncertainty_rpm, decimals));
}

}  // namespace

std::string html_number(double value, int decimals) {
  return std::isfinite(value) ? with_true_minus(fixed(value, decimals)) : "–";
}

std::string html_signed(double value, int decimals) {
  return std::isfinite(value) ? with_true_minus(with_sign(value, decimals)) : "–";
}

std::string findings_html(const RunRecord& record) {
  const RunResult& r = record.result;
  const std::vector<FindingGroup> groups = finding_groups(r);
  std::string rows;
  const std::size_t shown = std::min(most_rows, groups.size());
  for (std::size_t i = 0; i < shown; ++i) {
    const Finding& f = r.findings[groups[i].first];
    std::string at = html_number(to_seconds(f.at), 3);
    if (groups[i].count > 1) at += " to " + html_number(to_seconds(r.findings[groups[i].last].at), 3);
    rows += row(number_cell(std::to_string(i + 1)) + number_cell(at) + short_cell(word(f.kind)) +
                text_cell(f.window) + text_cell(f.lamp) + number_cell(std::to_string(groups[i].count)) +
                text_cell(as_sentence(f.message)));
  }
  std::string caption = "Equal ones together, with the words of the first.";
  if (r.findings_left_out > 0)
    caption += fmt::format(" {} more like them are counted and not kept.", r.findings_left_out);
  if (shown < groups.size()) caption += fmt::format(" {} of {} rows.", shown, groups.size());
  return table(
      "Findings",
      {{"#", true}, {"at, s", true}, {"kind"}, {"window"}, {"lamp"}, {"times", true}, {"what was found"}},
      rows, caption);
}

std::string boundaries_html(const RunRecord& record) {
  std::string rows;
  StateHeadings headings(record.result.boundaries, 10);
  for (const BoundaryResult& b : record.result.boundaries) {
    rows += headings.before(b.state);
    const int decimals = decimals_for(b.expanded_uncertainty_rpm);
    const int ms_decimals = decimals_for(b.response_uncertainty_ms, 1);
    std::string response = html_number(b.response_ms, ms_decimals);
    if (std::isfinite(b.response_uncertainty_ms))
      response += " ± " + html_number(b.response_uncertainty_ms, ms_decimals);
    rows +=
        row(text_cell(b.boundary) + short_cell(word(b.direction)) +
            number_cell(html_number(b.nominal_rpm, 1)) + number_cell(html_number(b.threshold_rpm, decimals)) +
            number_cell(html_signed(b.threshold_rpm - b.nominal_rpm, decimals)) +
            number_cell(html_number(b.expanded_uncertainty_rpm, decimals)) +
            number_cell(html_number(b.coverage_factor, 2)) + number_cell(response) +
            number_cell(std::to_string(b.visits)) + row_verdict_cell(record, b));
    std::string more = b.between_rpm ? between_words(*b.between_rpm) + " rpm" : "";
    if (!b.remark.empty()) more += (more.empty() ? "" : "; ") + as_sentence(b.remark);
    rows += remark_row(more, 10);
  }
  return table("Boundaries",
               {{"boundary"},
                {"direction"},
                {"nominal, rpm", true},
                {"threshold, rpm", true},
                {"deviation, rpm", true},
                {"U, rpm", true},
                {"k", true},
                {"response, ms", true},
                {"visits", true},
                {"verdict"}},
               rows,
               "Threshold and response apart, from all visits. U and ± are expanded uncertainties for 95 %, "
               "U with the k "
               "beside it.");
}

std::string speeds_html(const RunRecord& record) {
  if (!record.gauge.drive) return "";
  const Drive& drive = *record.gauge.drive;
  const auto cells = [&](const Quantity& v) {
    const double u = speed_coverage * in_unit(v.standard_uncertainty, drive.said_in);
    const int decimals = decimals_for(u);
    return number_cell(html_number(in_unit(v.value, drive.said_in), decimals)) +
           number_cell(html_number(u, decimals));
  };
  std::string rows;
  for (const BoundaryResult& b : record.result.boundaries)
    rows += row(text_cell(b.boundary) + short_cell(word(b.direction)) +
                number_cell(html_number(b.nominal_rpm, 1)) +
                cells(drive.speed_when_set(b.nominal_rpm, record.gauge.tolerance.rpm)) +
                cells(measured_speed(b, drive)));
  const std::string unit(word(drive.said_in));
  const std::string set = "set, " + unit, measured = "measured, " + unit, u = "U, " + unit;
  return table(
      "Speeds",
      {{"boundary"},
       {"direction"},
       {"set, rpm", true},
       {set.c_str(), true},
       {u.c_str(), true},
       {measured.c_str(), true},
       {u.c_str(), true}},
      rows,
      "What the rpm mean in the car. U is expanded (k = 2): of what is set, by the tyre and the gauge's "
      "tolerance; of what was measured, by the tyre and the threshold's own uncertainty. The verdict is "
      "on the rpm.");
}

std::string deadbands_html(const RunRecord& record) {
  std::string rows;
  StateHeadings headings(record.result.deadbands, 6);
  for (const DeadbandResult& d : record.result.deadbands) {
    rows += headings.before(d.state);
    const int decimals = decimals_for(d.expanded_uncertainty_rpm);
    rows += row(text_cell(d.boundary) + number_cell(html_number(d.nominal_rpm, 1)) +
                number_cell(html_number(d.width_rpm, decimals)) +
                number_cell(html_number(d.expanded_uncertainty_rpm, decimals)) +
                short_cell(d.sits ? word(*d.sits) : "–") + row_verdict_cell(record, d));
    rows += remark_row(as_sentence(d.remark), 6);
  }
  return table(
      "Deadbands",
      {{"boundary"}, {"set, rpm", true}, {"width, rpm", true}, {"U, rpm", true}, {"sits"}, {"verdict"}}, rows,
      "Rising less falling threshold; what both share, such as the response, cancels.");
}

std::string responses_html(const RunRecord& record) {
  std::string rows;
  StateHeadings headings(record.result.responses, 6);
  for (const ResponseResult& r : record.result.responses) {
    rows += headings.before(r.state);
    const int decimals = decimals_for(r.expanded_uncertainty_ms, 1);
    rows += row(text_cell(r.boundary) + short_cell(word(r.direction)) +
                number_cell(html_number(r.response_ms, decimals)) +
                number_cell(html_number(r.expanded_uncertainty_ms, decimals)) +
                number_cell(std::to_string(r.visits)) + row_verdict_cell(record, r));
    rows += remark_row(as_sentence(r.remark), 6);
  }
  return table(
      "Responses",
      {{"boundary"}, {"direction"}, {"response, ms", true}, {"U, ms", true}, {"visits", true}, {"verdict"}},
      rows, "From steps and from ramps at different rates; up and down apart.");
}

std::string transitions_html(const RunRecord& record) {
  const std::vector<TransitionResult>& all = record.result.transitions;
  const std::vector<std::size_t> shown = shown_items(all);
  std::string rows;
  StateHeadings headings(all, 10);
  for (const std::size_t i : shown) {
    const TransitionResult& t = all[i];
    rows += headings.before(t.state);
    rows += row(number_cell(std::to_string(i + 1)) +
                number_cell(t.seen ? html_number(to_seconds(t.at), 4) : "–") + text_cell(t.boundary) +
                short_cell(word(t.direction)) + number_cell(html_number(t.nominal_rpm, 1)) +
                measured_cells(t, record.gauge) + row_verdict_cell(record, t));
  }
  std::string caption =
      "Deviation is observed less nominal, response included; what is allowed grows with the rate by the "
      "response. "
      "At a step the response itself is given.";
  caption = left_out_caption(all, shown.size()) + " " + caption;
  return table("Transitions",
               {{"#", true},
                {"at, s", true},
                {"boundary"},
                {"direction"},
                {"nominal, rpm", true},
                {"observed, rpm", true},
                {"deviation, rpm", true},
                {"allowed, rpm", true},
                {"U, rpm", true},
                {"verdict"}},
               rows, caption);
}

std::string blinks_html(const RunRecord& record) {
  const std::vector<BlinkResult>& all = record.result.blinks;
  const std::vector<std::size_t> shown = shown_items(all);
  std::string rows;
  StateHeadings headings(all, 6);
  for (const std::size_t i : shown) {
    rows += headings.before(all[i].state);
    rows += row(text_cell(all[i].window) + text_cell(all[i].lamp) + number_cell(html_number(all[i].hz, 3)) +
                number_cell(html_number(all[i].duty, 3)) + number_cell(std::to_string(all[i].cycles)) +
                verdict_cell(record, all[i].verdict));
  }
  return table("Blinking",
               {{"window"}, {"lamp"}, {"rate, Hz", true}, {"duty", true}, {"cycles", true}, {"verdict"}},
               rows, left_out_caption(all, shown.size()));
}

std::string flicker_html(const RunRecord& record) {
  std::string rows;
  for (const FlickerResult& f : record.result.flicker)
    rows +=
        row(text_cell(f.boundary) + number_cell(html_number(f.mean_rpm, 1)) +
            number_cell(html_number(f.duration_s, 1)) + number_cell(std::to_string(f.changes)) +
            number_cell(html_number(f.rate_per_min, 3)) + number_cell(html_number(f.upper_95_per_min, 3)) +
            number_cell(html_number(f.limit_per_min, 3)) + verdict_cell(record, f.verdict));
  return table("Flicker",
               {{"boundary"},
                {"mean, rpm", true},
                {"time, s", true},
                {"changes", true},
                {"rate per min", true},
                {"95 % upper limit", true},
                {"allowed per min", true},
                {"verdict"}},
               rows, "Changes beyond those that the profile demands. Upper limits: exact Poisson.");
}

std::string answers_html(const RunRecord& record) {
  const std::vector<AnswerResult>& all = record.result.answers;
  const std::vector<std::size_t> shown = shown_items(all);
  std::string rows;
  for (const std::size_t i : shown)
    rows += row(number_cell(html_number(to_seconds(all[i].at), 3)) + text_cell(all[i].question) +
                (all[i].answer.empty() ? "<td><b>none was given</b></td>" : text_cell(all[i].answer)) +
                text_cell(all[i].expected) + verdict_cell(record, all[i].verdict));
  return table("Answers", {{"at, s", true}, {"question"}, {"answer"}, {"expected"}, {"verdict"}}, rows,
               left_out_caption(all, shown.size()));
}

std::string levels_html(const RunRecord& record) {
  std::string rows;
  for (const LevelResult& l : record.result.levels)
    rows += row(text_cell(l.lamp) + number_cell(html_number(100 * l.level, 0) + " %") +
                number_cell(l.pwm_hz > 0 ? html_number(l.pwm_hz, 0) : "steady"));
  return table("Lamp levels", {{"lamp"}, {"lit share while on", true}, {"PWM, Hz", true}}, rows);
}

std::string windows_html(const Gauge& gauge) {
  std::string rows;
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    const Window& window = gauge.windows[w];
    rows += row(text_cell(window.name) + number_cell(html_number(window.from_rpm, 1)) +
                number_cell(w == 0 ? "–" : html_number(gauge.rising_rpm(w), 1)) +
                number_cell(w == 0 ? "–" : html_number(gauge.falling_rpm(w), 1)) +
                text_cell(gauge.describe(window.cue)));
  }
  return table("Settings: windows",
               {{"window"}, {"from, rpm", true}, {"rising, rpm", true}, {"falling, rpm", true}, {"shows"}},
               rows);
}

}  // namespace tachproof

// What did not pass, of every kind, in one short table at the head of the report.
#include <fmt/format.h>

#include <cmath>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/html_tables.h"
#include "core/base/text.h"
#include "core/judge/row_place.h"

namespace tachproof {
namespace {

constexpr std::size_t most_shown = 40;

class NotPassed {
 public:
  explicit NotPassed(const RunRecord& record) : record_(record) {
    const RunResult& r = record.result;
    const double tolerance = record.gauge.tolerance.rpm;
    pressed();
    for (const BoundaryResult& b : r.boundaries)
      if (counts(b))
        add(row_place(b), "threshold", b.remark.empty() ? measured(b, tolerance) : b.remark, b.verdict);
    for (const DeadbandResult& d : r.deadbands)
      if (counts(d))
        add(row_place(d), "deadband",
            d.remark.empty()
                ? fmt::format("{} rpm wide, {} is set", number(d.width_rpm, d.expanded_uncertainty_rpm),
                              fixed(d.nominal_rpm, 1))
                : d.remark,
            d.verdict);
    for (const ResponseResult& d : r.responses)
      if (counts(d))
        add(row_place(d), "response",
            d.remark.empty() ? number(d.response_ms, d.expanded_uncertainty_ms) + " ms" : d.remark,
            d.verdict);
    for (const TransitionGroup& g : transition_groups(record))
      if (g.verdict != Verdict::pass) {
        const TransitionResult& t = r.transitions[g.worst];
        add(row_place(g), "transition",
            !t.remark.empty() ? t.remark
            : !t.seen         ? "not seen"
                              : fmt::format("worst of {}: {} rpm from nominal, allowed {} to {}", g.expected,
                                            with_sign(t.deviation_rpm, 1), with_sign(t.lowest_rpm, 1),
                                            with_sign(t.highest_rpm, 1)),
            g.verdict);
      }
    for (const BlinkResult& b : r.blinks)
      if (b.verdict != Verdict::pass)
        add(row_place(b), "blink",
            b.cycles > 0 ? fmt::format("{} Hz, duty {}", fixed(b.hz, 2), fixed(b.duty, 2)) : "no whole cycle",
            b.verdict);
    for (const FlickerResult& f : r.flicker)
      if (f.verdict != Verdict::pass)
        add(f.boundary, "flicker",
            fmt::format("{} a minute, at most {} with 95 %; allowed {}", fixed(f.rate_per_min, 2),
                        fixed(f.upper_95_per_min, 2), fixed(f.limit_per_min, 2)),
            f.verdict);
    for (const AnswerResult& a : r.answers)
      if (a.verdict != Verdict::pass)
        add(a.question, "answer", (a.answer.empty() ? "none" : a.answer) + "; expected " + a.expected,
            a.verdict);
  }

  std::string html() const {
    if (rows_.empty()) return "";
    std::string html =
        "<h2>What did not pass</h2>\n<div class=\"scroll "
        "stacked\"><table>\n<thead><tr><th>where</th><th>what</th>"
        "<th>verdict</th><th>measured</th></tr></thead>\n<tbody>\n" +
        rows_ + "</tbody></table></div>\n";
    if (all_ > most_shown)
      html += fmt::format("<p>{} more are in the tables below.</p>\n", all_ - most_shown);
    return html;
  }

 private:
  // First of all: what comes after a press or a power cut rests on it.
  void pressed() {
    const auto at = [](const std::string& what, Nanos when) { return what + " at " + say_time(when); };
    for (const PressResult& p : record_.result.presses)
      if (p.verdict != Verdict::pass)
        add(at(p.button, p.at), "press", p.remark.empty() ? made_of(p) : p.remark, p.verdict);
    for (const DimResult& d : record_.result.dims)
      if (d.verdict != Verdict::pass)
        add(at(d.button, d.at), "dimming",
            d.remark.empty() ? fmt::format("{}: {} %, {} % is set", d.lamp,
                                           number(100 * d.level, 100 * d.expanded_uncertainty),
                                           fixed(100 * d.set_level, 1))
                             : d.remark,
            d.verdict);
    for (const PowerResult& p : record_.result.powers)
      if (p.verdict != Verdict::pass)
        add(at(std::isfinite(p.lowest_v) ? std::string(power_word(p)) : "supply cut", p.at), "power",
            !p.remark.empty() ? p.remark
            : std::isfinite(p.boot_ms)
                ? fmt::format("woke {} ms after the supply came back; see the findings",
                              number(p.boot_ms, p.expanded_uncertainty_ms))
                : "see the findings",
            p.verdict);
  }
  static std::string made_of(const PressResult& p) {
    const std::string where = fmt::format("pressed at {} rpm: ", fixed(p.rpm, 1));
    if (!p.refused) return where + "see the findings";
    if (p.must_refuse)
      return where + (*p.refused ? "refused, as it had to be" : "taken; it had to be refused");
    if (*p.refused || !std::isfinite(p.taken_rpm)) return where + std::string(press_word(p));
    return where + number(p.taken_rpm, p.expanded_uncertainty_rpm) + " rpm was taken";
  }

  template <class Row>
  static bool counts(const Row& row) {
    return row.verdict == Verdict::fail || (row.verdict == Verdict::undecided && row.asked);
  }
  static std::string number(double value, double u) {
    const int decimals = decimals_for(u, 1);
    return fixed(value, decimals) + (std::isfinite(u) ? " ± " + fixed(u, decimals) : "");
  }
  static std::string measured(const BoundaryResult& b, double tolerance) {
    if (b.between_rpm)
      return fmt::format("{} rpm; {} ± {} is set", between_words(*b.between_rpm), fixed(b.nominal_rpm, 1),
                         fixed(tolerance, 1));
    if (!std::isfinite(b.threshold_rpm)) return "not measured";
    const int decimals = decimals_for(b.expanded_uncertainty_rpm);
    return fmt::format("{} rpm from nominal, U = {}; allowed ± {}",
                       with_sign(b.threshold_rpm - b.nominal_rpm, decimals),
                       fixed(b.expanded_uncertainty_rpm, decimals), fixed(tolerance, 1));
  }

  void add(const std::string& where, const char* what, const std::string& how, Verdict verdict) {
    if (++all_ > most_shown) return;
    rows_ += fmt::format(
        "<tr><td class=\"m\">{}</td><td class=\"w\">{}</td><td><b class=\"{}\">{}</b></td><td "
        "class=\"m\">{}</td></tr>\n",
        escaped(where), what, word(verdict), shouted(verdict), escaped(how));
  }

  const RunRecord& record_;
  std::string rows_;
  std::size_t all_ = 0;
};

}  // namespace

std::string not_passed_html(const RunRecord& record) {
  return tells_findings(record) ? "" : NotPassed(record).html();
}

}  // namespace tachproof

// What did not pass, of every kind, in one short table at the head of the report.
#include <fmt/format.h>

#include <cmath>

#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/html_tables.h"

namespace tachproof {
namespace {

constexpr std::size_t most_shown = 40;

class NotPassed {
 public:
  explicit NotPassed(const RunRecord& record) : record_(record) {
    const RunResult& r = record.result;
    const double tolerance = record.gauge.tolerance.rpm;
    for (const BoundaryResult& b : r.boundaries)
      if (counts(b))
        add(b.boundary + ", " + std::string(word(b.direction)), "threshold",
            b.remark.empty() ? measured(b, tolerance) : b.remark, b.verdict);
    for (const DeadbandResult& d : r.deadbands)
      if (counts(d))
        add(d.boundary, "deadband",
            d.remark.empty()
                ? fmt::format("{} rpm wide, {} is set", number(d.width_rpm, d.expanded_uncertainty_rpm),
                              fixed(d.nominal_rpm, 1))
                : d.remark,
            d.verdict);
    for (const ResponseResult& d : r.responses)
      if (counts(d))
        add(d.boundary + ", " + std::string(word(d.direction)), "response",
            d.remark.empty() ? number(d.response_ms, d.expanded_uncertainty_ms) + " ms" : d.remark,
            d.verdict);
    for (const TransitionGroup& g : transition_groups(record))
      if (g.verdict != Verdict::pass) {
        const TransitionResult& t = r.transitions[g.worst];
        add(g.boundary + ", " + std::string(word(g.direction)), "transition",
            !t.remark.empty() ? t.remark
            : !t.seen         ? "not seen"
                              : fmt::format("worst of {}: {} rpm from nominal, allowed {} to {}", g.expected,
                                            with_sign(t.deviation_rpm, 1), with_sign(t.lowest_rpm, 1),
                                            with_sign(t.highest_rpm, 1)),
            g.verdict);
      }
    for (const BlinkResult& b : r.blinks)
      if (b.verdict != Verdict::pass)
        add(b.window + ", " + b.lamp, "blink",
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

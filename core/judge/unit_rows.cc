// Rows of deadbands and responses: boundary_rows.h.
#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <utility>

#include "core/base/statistics.h"
#include "core/base/text.h"
#include "core/judge/boundary_rows.h"

namespace tachproof {
bool has_a_lever(const BoundaryEvidence& evidence, Direction direction) {
  for (std::size_t way = way_of(1, direction); way < evidence.slowest.size(); way += 2)
    if (std::isfinite(evidence.slowest[way]) && evidence.fastest[way] > 1.5 * evidence.slowest[way])
      return true;
  return false;
}

double open_response_rpm(const Gauge& gauge, const BoundaryEvidence& evidence, std::size_t way) {
  const double slowest = evidence.slowest[way], fastest = evidence.fastest[way];
  if (!std::isfinite(slowest)) return 0;
  if (evidence.fits.fits[way].visits > 1 && fastest > 1.5 * slowest) return 0;
  return slowest * to_seconds(gauge.tolerance.response_to - gauge.tolerance.response_from);
}

std::vector<DeadbandResult> deadband_rows(const Gauge& gauge, const JudgeSetup& setup,
                                          const std::vector<BoundaryResult>& thresholds,
                                          const BoundaryEvidence& evidence, FindingLog& log) {
  std::vector<DeadbandResult> rows;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    const BoundaryResult* up = nullptr;
    const BoundaryResult* down = nullptr;
    for (const BoundaryResult& t : thresholds)
      if (t.boundary == gauge.windows[b].name) (t.direction == Direction::rising ? up : down) = &t;
    if (!up || !down || !std::isfinite(up->threshold_rpm) || !std::isfinite(down->threshold_rpm)) continue;
    DeadbandResult row;
    row.boundary = up->boundary;
    row.nominal_rpm = gauge.rising_rpm(b) - gauge.falling_rpm(b);
    row.asked = setup.what.thresholds;
    double middle_u = not_measured;
    const double both_u = up->expanded_uncertainty_rpm + down->expanded_uncertainty_rpm;
    const bool held = evidence.held[way_of(b, Direction::rising)].passes > 0 ||
                      evidence.held[way_of(b, Direction::falling)].passes > 0;
    const WidthFit& width = evidence.fits.widths[b];
    if (std::isfinite(width.width_rpm) && !(held && both_u < width.expanded_uncertainty_rpm)) {
      row.width_rpm = width.width_rpm;
      row.expanded_uncertainty_rpm = width.expanded_uncertainty_rpm;
      row.coverage_factor = width.coverage_factor;
      middle_u = evidence.fits.middles[b].expanded_uncertainty_rpm;
    } else {
      row.width_rpm = up->threshold_rpm - down->threshold_rpm;
      row.expanded_uncertainty_rpm = both_u;
      row.coverage_factor = 2;
      middle_u = row.expanded_uncertainty_rpm / 2;
    }
    const double limit = 2 * gauge.tolerance.rpm;
    const double off = row.width_rpm - row.nominal_rpm, u = row.expanded_uncertainty_rpm;
    row.verdict = decide(off, u, -limit, limit);
    const double open = open_response_rpm(gauge, evidence, way_of(b, Direction::rising)) +
                        open_response_rpm(gauge, evidence, way_of(b, Direction::falling));
    if (row.verdict == Verdict::fail && decide(off, std::max(u, open), -limit, limit) != Verdict::fail) {
      row.verdict = Verdict::undecided;
      row.remark = "a response that is allowed explains it too: cross both thresholds at two rates, one slow";
    } else if (row.verdict == Verdict::undecided)
      row.remark = u >= limit ? "U is as large as the allowed +-" + decimal(limit, 1) +
                                    " rpm: cross both thresholds more often, slowly"
                              : "too near the limit of +-" + decimal(limit, 1) +
                                    " rpm to decide: more slow crossings make U smaller";
    // Where it sits: the nearest of the three, if the others are out of reach.
    const double middle = (up->threshold_rpm + down->threshold_rpm) / 2 - gauge.windows[b].from_rpm;
    if (row.width_rpm - u > 0 && middle_u < row.width_rpm / 4)
      row.sits = middle < -row.width_rpm / 4  ? Sits::below
                 : middle > row.width_rpm / 4 ? Sits::above
                                              : Sits::centred;
    if (row.verdict == Verdict::fail)
      log.add({row.width_rpm < row.nominal_rpm ? FindingKind::early : FindingKind::late, 0, row.boundary, "",
               "boundary " + row.boundary + ": the deadband is " + decimal(row.width_rpm, 1) + " rpm wide, " +
                   decimal(row.nominal_rpm, 1) + " is set; allowed +-" + decimal(limit, 1) +
                   " rpm, U = " + decimal(u, 1) + " rpm"});
    rows.push_back(std::move(row));
  }
  return rows;
}

std::vector<ResponseResult> response_rows(const Gauge& gauge, const JudgeSetup& setup,
                                          const BoundaryEvidence& evidence, FindingLog& log) {
  std::vector<ResponseResult> rows;
  // A unit cannot answer before it is asked.
  const double from_ms = gauge.tolerance.response_from > 0 ? to_ms(gauge.tolerance.response_from) : -infinite;
  const double to_ms_ = to_ms(gauge.tolerance.response_to);
  const std::string allowed =
      decimal(to_ms(gauge.tolerance.response_from), 1) + " to " + decimal(to_ms_, 1) + " ms";
  for (const Direction direction : {Direction::rising, Direction::falling}) {
    std::optional<std::size_t> crossed;
    const std::size_t first = rows.size();
    bool proven = false;
    for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
      const std::size_t way = way_of(b, direction);
      if (evidence.crossed[way] && !crossed) crossed = b;
      const ResponseFit& fit = evidence.fits.responses[way];
      if (!fit.measured || !(has_a_lever(evidence, direction) || evidence.fastest[way] == infinite)) continue;
      // An answer to a jump is another one for each jump: where a survey's ramps tell it, theirs is taken.
      if (evidence.held[way].passes > 0 && has_a_lever(evidence, direction) &&
          evidence.fits.fits[way].visits == 0)
        continue;
      ResponseResult row;
      row.boundary = gauge.windows[b].name;
      row.direction = direction;
      row.response_ms = fit.response_s * 1e3;
      row.expanded_uncertainty_ms = fit.expanded_uncertainty_s * 1e3;
      row.coverage_factor = fit.coverage_factor;
      row.visits = fit.visits;
      row.asked = setup.what.transitions;
      row.verdict = decide(row.response_ms, row.expanded_uncertainty_ms, from_ms, to_ms_);
      // Nothing answers before it is asked: this is no response, but visits that contradict each other.
      if (row.verdict == Verdict::fail && row.response_ms + row.expanded_uncertainty_ms < 0) {
        row.verdict = Verdict::undecided;
        row.remark =
            "the visits contradict each other: they give a response below 0; cross it again, at two rates";
      } else if (row.verdict == Verdict::undecided)
        row.remark = "U is too large to decide whether it is within " + allowed + ": add steps across it";
      if (row.verdict == Verdict::fail)
        log.add({row.response_ms > to_ms_ ? FindingKind::slow_response : FindingKind::early,
                 evidence.first_seen[way], row.boundary, "",
                 "boundary " + row.boundary + ", " + std::string(word(direction)) + ": the response is " +
                     decimal(row.response_ms, 1) + " ms, U = " + decimal(row.expanded_uncertainty_ms, 1) +
                     " ms; allowed " + allowed});
      proven = proven || row.verdict == Verdict::pass;
      rows.push_back(std::move(row));
    }
    // One boundary that shows it speaks for those that cannot, unless they point beyond it.
    for (std::size_t i = first; i < rows.size(); ++i)
      if (proven && rows[i].verdict == Verdict::undecided && rows[i].response_ms <= to_ms_)
        rows[i].asked = false;
    if (rows.size() == first && crossed && setup.what.transitions) {
      ResponseResult none;
      none.boundary = gauge.windows[*crossed].name;
      none.direction = direction;
      none.asked = setup.what.thresholds;
      none.remark = "the response was not measured: add a step across it, or cross it at two rates";
      rows.push_back(std::move(none));
    }
  }
  return rows;
}

}  // namespace tachproof

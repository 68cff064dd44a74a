#include "core/verdicts.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>
#include <optional>

#include "core/allowance.h"
#include "core/statistics.h"
#include "core/text.h"

namespace tachproof {
namespace {

constexpr int least_cycles = 3;  // of a blink, for a rate and a duty

std::string name(const Gauge& gauge, std::size_t boundary) { return gauge.windows.at(boundary).name; }

// `asked_then`: the profile jumped at `earliest`. No lamp answers before it is asked, so
// a change that may have come later did not come earlier.
Verdict in_time(const Crossing& crossing, Nanos guard, bool asked_then) {
  const Nanos first =
      asked_then ? std::max(crossing.at - guard, crossing.demand.earliest) : crossing.at - guard;
  if (first >= crossing.demand.earliest && crossing.at + guard <= crossing.demand.latest &&
      crossing.at + guard >= crossing.demand.earliest)
    return Verdict::pass;
  if (crossing.at + guard < crossing.demand.earliest || crossing.at - guard > crossing.demand.latest)
    return Verdict::fail;
  return Verdict::undecided;
}

void report(const Gauge& gauge, const SeenTransition& seen, const TransitionResult& row, FindingLog& log) {
  const Crossing& crossing = seen.crossing;
  const std::string what = "boundary " + row.boundary + ", " + std::string(word(row.direction));
  Finding finding{FindingKind::late, row.at, row.boundary, "", ""};
  if (crossing.timing == Crossing::Timing::missing) {
    finding.kind = FindingKind::missing_transition;
    finding.at = row.latest;
    finding.message = what + " at " + decimal(row.nominal_rpm, 1) +
                      " rpm: no change was seen; it was due by " + say_time(row.latest);
  } else if (seen.step) {
    const bool late = crossing.at > row.latest;
    finding.kind = late ? FindingKind::slow_response : FindingKind::early;
    finding.message = what + ": " + decimal(seen.step_response_s * 1e3, 1) + " ms after the step; allowed " +
                      decimal(to_ms(gauge.tolerance.response_from), 1) + " to " +
                      decimal(to_ms(gauge.tolerance.response_to), 1) + " ms";
  } else {
    finding.kind = crossing.at < row.earliest ? FindingKind::early : FindingKind::late;
    finding.message = what + ": seen at " + decimal(row.observed_rpm, 1) + " rpm, " +
                      decimal(row.deviation_rpm, 1) + " rpm from " + decimal(row.nominal_rpm, 1) +
                      "; allowed " + decimal(row.lowest_rpm, 1) + " to " + decimal(row.highest_rpm, 1) +
                      " rpm at this rate, U = " + decimal(row.expanded_uncertainty_rpm, 2) + " rpm";
  }
  log.add(finding);
}

// Why a threshold is not known as well as was wanted.
std::string not_within(double within_rpm, const ThresholdFit& fit, const ThresholdFits& fits) {
  const double times = fit.expanded_uncertainty_rpm / within_rpm;
  return "U = " + decimal(fit.expanded_uncertainty_rpm, 2) + " rpm after " + std::to_string(fit.visits) +
         " visits, wanted " + decimal(within_rpm, 2) + " rpm: one visit of this unit scatters by " +
         decimal(std::sqrt(fits.scatter.rpm2), 2) + " rpm and " +
         decimal(std::sqrt(fits.scatter.s2) * 1e3, 1) + " ms (standard), so about " +
         decimal(std::ceil(fit.visits * times * times), 0) + " visits would be needed";
}

}  // namespace

BenchUncertainty bench_uncertainty(const JudgeSetup& setup) {
  // Resolutions are full widths of a rectangle (GUM F.2.2.1: width / sqrt 12).
  const double resolution =
      std::hypot(to_seconds(setup.source_tick), to_seconds(setup.watcher_resolution)) / std::sqrt(12.0);
  return {std::hypot(resolution, to_seconds(setup.stamp_uncertainty)),
          setup.clock_ppm * 1e-6,
          setup.rpm_uncertainty,
          to_seconds(setup.source_tick) / std::sqrt(12.0),
          to_seconds(setup.watcher_resolution) / std::sqrt(12.0),
          to_seconds(setup.source_lag),
          setup.source_rpm};
}

std::vector<TransitionResult> transition_rows(const Gauge& gauge, const std::vector<SeenTransition>& seen,
                                              const ThresholdFits& fits, const BenchUncertainty& bench,
                                              FindingLog& log) {
  std::vector<TransitionResult> rows;
  for (const SeenTransition& one : seen) {
    const Crossing& crossing = one.crossing;
    TransitionResult row;
    row.boundary = name(gauge, crossing.demand.boundary);
    row.direction = crossing.demand.direction;
    row.nominal_rpm = crossing.demand.nominal_rpm;
    row.earliest = crossing.demand.earliest;
    row.nominal = crossing.demand.nominal;
    row.latest = crossing.demand.latest;
    row.rate_rpm_per_s = one.step ? 0 : one.rate_rpm_per_s;
    row.step = one.step;
    if (crossing.timing == Crossing::Timing::missing) {
      row.verdict = Verdict::fail;
    } else {
      row.seen = true;
      row.at = crossing.at;
      row.observed_rpm = one.observed_rpm;
      // Bounds to standard uncertainties: GUM 4.3.7.
      const double timing = std::hypot(bench.timing_s, bench.lag_s / std::numbers::sqrt3);
      const double rpm = std::hypot(bench.rpm, bench.source_rpm / std::numbers::sqrt3);
      const double scatter = std::hypot(timing, fits.response_scatter_s);
      const double u_rpm = std::hypot(row.rate_rpm_per_s * scatter, bench.clock_share * row.nominal_rpm, rpm);
      if (!one.step) {
        row.deviation_rpm = row.observed_rpm - row.nominal_rpm;
        row.lowest_rpm = std::min(one.rpm_earliest, one.rpm_latest) - row.nominal_rpm;
        row.highest_rpm = std::max(one.rpm_earliest, one.rpm_latest) - row.nominal_rpm;
        row.expanded_uncertainty_rpm = 2 * u_rpm;
      }
      const bool blink_may_hide = one.blink_only && crossing.timing == Crossing::Timing::late &&
                                  to_seconds(crossing.at - row.latest) <=
                                      1.0 / std::max(gauge.blink->hz - gauge.tolerance.blink_hz, 0.1);
      if (blink_may_hide) {
        row.verdict = Verdict::pass;
      } else if (one.monotone) {
        row.verdict =
            decide(row.deviation_rpm, row.expanded_uncertainty_rpm, row.lowest_rpm, row.highest_rpm);
      } else {
        const double speed = std::abs(row.rate_rpm_per_s);
        const double rpm_as_time =
            speed > 1 ? std::hypot(bench.clock_share * row.nominal_rpm, rpm) / speed : 0;
        row.verdict = in_time(crossing, from_seconds(2 * std::hypot(timing, rpm_as_time)),
                              one.step && gauge.tolerance.response_from <= 0);
      }
    }
    if (row.verdict == Verdict::fail) report(gauge, one, row, log);
    rows.push_back(std::move(row));
  }
  std::stable_sort(rows.begin(), rows.end(), [](const TransitionResult& a, const TransitionResult& b) {
    return a.nominal < b.nominal;
  });
  return rows;
}

std::vector<BoundaryResult> boundary_rows(const Gauge& gauge, const JudgeSetup& setup,
                                          const std::vector<SeenTransition>& seen,
                                          const std::vector<bool>& hidden, const ThresholdFits& fits,
                                          FindingLog& log) {
  std::vector<BoundaryResult> rows;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    const double allowance = noise_allowance_rpm(setup.noise, gauge, gauge.windows[b].from_rpm);
    const double limit = gauge.tolerance.rpm + allowance;
    const double middle_nominal = (gauge.rising_rpm(b) + gauge.falling_rpm(b)) / 2;
    const ThresholdFit& middle = fits.middles[b];
    const bool middle_out =
        middle.visits > 0 && decide(middle.threshold_rpm - middle_nominal, middle.expanded_uncertainty_rpm,
                                    -limit, limit) == Verdict::fail;
    for (const Direction direction : {Direction::rising, Direction::falling}) {
      const std::size_t way = 2 * b + (direction == Direction::falling ? 1 : 0);
      const ThresholdFit& fit = fits.fits[way];
      double slowest = std::numeric_limits<double>::infinity();
      bool demanded = false, only_blinking = true;
      std::optional<Nanos> first_seen;
      for (const SeenTransition& one : seen)
        if (one.crossing.demand.boundary == b && one.crossing.demand.direction == direction) {
          demanded = true;
          only_blinking = only_blinking && one.blink_only;
          if (!first_seen && one.crossing.timing != Crossing::Timing::missing) first_seen = one.crossing.at;
          if (!one.step && one.rate_rpm_per_s != 0) slowest = std::min(slowest, std::abs(one.rate_rpm_per_s));
        }
      if (!demanded && !hidden[way]) continue;
      BoundaryResult row;
      row.boundary = name(gauge, b);
      row.direction = direction;
      row.nominal_rpm = direction == Direction::rising ? gauge.rising_rpm(b) : gauge.falling_rpm(b);
      row.visits = fit.visits;
      if (fit.visits > 0) {
        row.threshold_rpm = fit.threshold_rpm;
        row.expanded_uncertainty_rpm = fit.expanded_uncertainty_rpm;
        row.response_ms = fit.response_s * 1e3;
        row.response_uncertainty_ms = fit.response_uncertainty_s * 1e3;
        row.budget = fit.budget;
        row.coverage_factor = fit.coverage_factor;
        row.dof = fit.dof;
        const double deviation = row.threshold_rpm - row.nominal_rpm;
        row.verdict = decide(deviation, row.expanded_uncertainty_rpm, -limit, limit);
        // Visits that disagree this much have no line through them to judge by.
        if (row.verdict == Verdict::fail && row.expanded_uncertainty_rpm > 5 * limit)
          row.verdict = Verdict::undecided;
        // Where threshold and response do come apart, each row speaks for itself.
        if (middle_out && row.expanded_uncertainty_rpm >= limit) {
          row.verdict = Verdict::fail;
          row.remark =
              "the middle of rising and falling is " + decimal(middle.threshold_rpm - middle_nominal, 1) +
              " rpm off, U = " + decimal(middle.expanded_uncertainty_rpm, 1) + " rpm, whatever the response";
        } else if (setup.what.within_rpm > 0 && row.verdict != Verdict::fail &&
                   row.expanded_uncertainty_rpm > setup.what.within_rpm) {
          row.verdict = Verdict::undecided;
          row.remark = not_within(setup.what.within_rpm, fit, fits);
        } else if (row.verdict == Verdict::undecided && row.expanded_uncertainty_rpm >= limit) {
          // A ramp across a response that may be anything allowed: the rate at
          // which that alone stays under half the tolerance.
          const double span_s = to_seconds(gauge.tolerance.response_to - gauge.tolerance.response_from);
          row.remark =
              "not separable from the response at these rates; cross it at two rates, one of at most " +
              decimal(std::max(0.1, limit / 2 / std::max(span_s, 1e-3) * std::sqrt(12.0) / 2), 0) + " rpm/s";
        } else if (row.verdict == Verdict::undecided) {
          row.remark = "too near the limit of +-" + decimal(limit, 1) + " rpm to tell";
        }
        if (row.verdict == Verdict::fail) {
          const bool low = deviation < 0;
          const bool early = low == (direction == Direction::rising);
          log.add({early ? FindingKind::early : FindingKind::late, first_seen.value_or(0), row.boundary, "",
                   "boundary " + row.boundary + ", " + std::string(word(direction)) + ": threshold " +
                       decimal(row.threshold_rpm, 1) + " rpm, " + decimal(deviation, 1) + " rpm from " +
                       decimal(row.nominal_rpm, 1) + "; allowed +-" + decimal(limit, 1) +
                       " rpm, U = " + decimal(row.expanded_uncertainty_rpm, 1) + " rpm" +
                       (row.remark.empty() ? "" : "; " + row.remark)});
        }
      } else {
        row.remark = "only steps crossed it: they tell the response, not the threshold";
        if (slowest < std::numeric_limits<double>::infinity()) row.remark = "no change was seen";
        if (!demanded)
          row.remark = "the lamps did not have to show it: no pass was slow enough, or they look alike";
        else if (only_blinking)
          row.remark = "its two sides differ only in blinking, which tells no instant";
      }
      rows.push_back(std::move(row));
    }
  }
  return rows;
}

std::vector<BlinkResult> blink_rows(const Gauge& gauge, const WindowReading& reading,
                                    const std::vector<std::vector<BlinkMeter>>& meters,
                                    const std::vector<Nanos>& demanded, const BenchUncertainty& bench,
                                    FindingLog& log) {
  std::vector<BlinkResult> rows;
  if (!gauge.blink) return rows;
  const Tolerance& tolerance = gauge.tolerance;
  const double slowest_period = 1.0 / std::max(gauge.blink->hz - tolerance.blink_hz, 0.05);
  for (std::size_t w = 0; w < gauge.windows.size(); ++w)
    for (Channels left = reading.blinking(w); left != 0; left &= left - 1) {
      const auto c = static_cast<std::size_t>(std::countr_zero(left));
      const BlinkMeter& meter = meters[w][c];
      if (demanded[w] == 0 && meter.watched() == 0) continue;
      BlinkResult row;
      row.window = gauge.windows[w].name;
      row.lamp = gauge.channel_name(c);
      row.cycles = meter.cycles();
      const std::string what = row.lamp + " in window " + row.window;
      if (row.cycles > 0) {
        row.hz = meter.hz();
        row.duty = meter.duty();
      }
      const double still = to_seconds(meter.longest_still());
      if (still > 2.5 * slowest_period) {
        row.verdict = Verdict::fail;
        log.add({FindingKind::blink_missing, meter.longest_still_at(), row.window, row.lamp,
                 what + " did not blink for " + decimal(still, 2) + " s; " + decimal(gauge.blink->hz, 2) +
                     " Hz is set"});
      } else if (row.cycles >= least_cycles) {
        // Both ends of a time are off by the stamps' resolution; what all stamps are off by together
        // cancels. No mean over cycles: a blink may keep step with the frames of a camera.
        const double share = 2 * std::sqrt(2.0) * bench.resolution_s * row.hz;
        const Verdict hz = decide(row.hz - gauge.blink->hz, share * row.hz / row.cycles, -tolerance.blink_hz,
                                  tolerance.blink_hz);
        const Verdict duty =
            decide(row.duty - gauge.blink->duty, share, -tolerance.blink_duty, tolerance.blink_duty);
        // A single period may be off by more than the mean, but not by half.
        const bool regular =
            meter.longest_s() * row.hz < 1.5 + share && meter.shortest_s() * row.hz > 0.5 - share;
        row.verdict = worst(worst(hz, duty), regular ? Verdict::pass : Verdict::fail);
        if (hz == Verdict::fail || duty == Verdict::fail)
          log.add({FindingKind::blink_rate, 0, row.window, row.lamp,
                   what + " blinks at " + decimal(row.hz, 2) + " Hz, duty " + decimal(row.duty, 2) +
                       "; set: " + decimal(gauge.blink->hz, 2) + " +-" + decimal(tolerance.blink_hz, 2) +
                       " Hz, " + decimal(gauge.blink->duty, 2) + " +-" + decimal(tolerance.blink_duty, 2)});
        else if (!regular)
          log.add({FindingKind::blink_rate, 0, row.window, row.lamp,
                   what + " blinks unevenly: single periods from " + decimal(meter.shortest_s() * 1e3, 0) +
                       " to " + decimal(meter.longest_s() * 1e3, 0) + " ms"});
      }
      rows.push_back(std::move(row));
    }
  return rows;
}

}  // namespace tachproof

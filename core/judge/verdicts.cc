#include "core/judge/verdicts.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>
#include <optional>

#include "core/base/statistics.h"
#include "core/base/text.h"
#include "core/judge/allowance.h"

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

RpmBetween between(double a, double b) { return {std::min(a, b), std::max(a, b)}; }

void report(const Gauge& gauge, const SeenTransition& seen, const TransitionResult& row, FindingLog& log) {
  const Crossing& crossing = seen.crossing;
  const std::string what = "boundary " + row.boundary + ", " + std::string(word(row.direction));
  Finding finding{FindingKind::late, row.at, row.boundary, "", ""};
  if (crossing.timing == Crossing::Timing::missing) {
    finding.kind = FindingKind::missing_transition;
    finding.at = row.latest;
    finding.message = what + " at " + decimal(row.nominal_rpm, 1) +
                      " rpm: no change was seen; it was due by " + say_time(row.latest);
  } else if (seen.wrong_for > 0) {
    const bool late = crossing.at > row.latest;
    finding.kind = late ? FindingKind::late : FindingKind::early;
    finding.message =
        what + " at " + decimal(row.nominal_rpm, 1) + " rpm: the lamps changed at " + say_time(crossing.at) +
        "; allowed from " + say_time(row.earliest) + " to " + say_time(row.latest) +
        ". Odd pulses explain no more than " +
        say_span((late ? crossing.at - row.latest : row.earliest - crossing.at) - seen.wrong_for) +
        " of that";
  } else if (seen.step) {
    const bool late = crossing.at > row.latest;
    finding.kind = late ? FindingKind::slow_response : FindingKind::early;
    finding.message = what + ": the lamps changed " + decimal(seen.step_response_s * 1e3, 1) +
                      " ms after the step; allowed " + decimal(to_ms(gauge.tolerance.response_from), 1) +
                      " to " + decimal(to_ms(gauge.tolerance.response_to), 1) + " ms";
  } else if (seen.blink_only || !seen.monotone) {
    finding.kind = crossing.at < row.earliest ? FindingKind::early : FindingKind::late;
    finding.message = what + " at " + decimal(row.nominal_rpm, 1) + " rpm: the lamps changed at " +
                      say_time(crossing.at) + "; allowed from " + say_time(row.earliest) + " to " +
                      say_time(row.latest);
  } else {
    finding.kind = crossing.at < row.earliest ? FindingKind::early : FindingKind::late;
    finding.message = what + ": seen at " + decimal(row.observed_rpm, 1) + " rpm, " +
                      decimal(row.deviation_rpm, 1) + " rpm from " + decimal(row.nominal_rpm, 1) +
                      "; allowed " + decimal(row.lowest_rpm, 1) + " to " + decimal(row.highest_rpm, 1) +
                      " rpm at this rate, U = " + decimal(row.expanded_uncertainty_rpm, 2) + " rpm";
  }
  log.add(finding);
}

}  // namespace

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
    } else if (crossing.timing == Crossing::Timing::hidden) {
      row.remark = "crossed too fast for a lamp to have to change: add a slower pass, or a rest on each side";
      row.between_rpm = between(one.rpm_earliest, one.rpm_latest);
    } else if (one.disturbed) {
      row.seen = true;
      row.at = crossing.at;
      if (one.wrong_for > 0)
        row.verdict = Verdict::fail;
      else
        row.remark = "a pulse was missing or doubled just then: cross it again";
    } else if (one.blink_only) {
      row.seen = true;
      row.at = crossing.at;
      row.between_rpm = between(one.rpm_before, one.rpm_after);
      const Nanos guard = from_seconds(2 * bench.timing_s);
      if (one.earliest_at >= row.earliest && crossing.at <= row.latest)
        row.verdict = Verdict::pass;
      else if (crossing.at + guard < row.earliest || one.earliest_at - guard > row.latest)
        row.verdict = Verdict::fail;
      else
        row.remark =
            "its two sides differ only in blinking, so its instant is known only to one phase of the blink: "
            "add a slower ramp";
    } else {
      row.seen = true;
      row.at = crossing.at;
      row.observed_rpm = one.observed_rpm;
      // Bounds to standard uncertainties: GUM 4.3.7.
      const double timing = std::hypot(bench.timing_s, bench.source_lag_s / std::numbers::sqrt3);
      const double rpm = std::hypot(bench.rpm, bench.source_rpm / std::numbers::sqrt3);
      const double scatter = std::hypot(timing, fits.response_scatter_s);
      const double u_rpm = std::hypot(row.rate_rpm_per_s * scatter, bench.clock_share * row.nominal_rpm, rpm);
      if (!one.step) {
        row.deviation_rpm = row.observed_rpm - row.nominal_rpm;
        row.lowest_rpm = std::min(one.rpm_earliest, one.rpm_latest) - row.nominal_rpm;
        row.highest_rpm = std::max(one.rpm_earliest, one.rpm_latest) - row.nominal_rpm;
        row.expanded_uncertainty_rpm = 2 * u_rpm;
      }
      if (one.monotone) {
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
      // The longer phase at the slow end of what is allowed, and half as much again.
      const double longest_phase_s =
          (std::max(gauge.blink->duty, 1 - gauge.blink->duty) + tolerance.blink_duty) * slowest_period;
      if (still > 1.5 * longest_phase_s + 4 * bench.resolution_s) {
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
                       " Hz, duty " + decimal(gauge.blink->duty, 2) + " +-" +
                       decimal(tolerance.blink_duty, 2)});
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

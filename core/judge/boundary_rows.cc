#include "core/judge/boundary_rows.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/base/statistics.h"
#include "core/base/text.h"
#include "core/judge/allowance.h"
#include "core/judge/blink_boundary.h"

namespace tachproof {
namespace {

std::string name(const Gauge& gauge, std::size_t boundary) { return gauge.windows.at(boundary).name; }

// A ramp across a response that may be anything allowed, and a change that is dated within
// `dated_s`: the rate at which both alone stay under half the tolerance.
std::string slow_enough(const Gauge& gauge, double limit, double dated_s) {
  const double span_s = to_seconds(gauge.tolerance.response_to - gauge.tolerance.response_from) + dated_s;
  return decimal(std::max(0.1, limit * std::sqrt(3.0) / 2 / std::max(span_s, 1e-3)), 0) + " rpm/s";
}

// Why a threshold is not known as well as was wanted.
std::string not_within(double within_rpm, const ThresholdFit& fit, const ThresholdFits& fits) {
  const double times = fit.expanded_uncertainty_rpm / within_rpm;
  return "U = " + decimal(fit.expanded_uncertainty_rpm, 2) + " rpm after " + std::to_string(fit.visits) +
         " visits, wanted " + decimal(within_rpm, 2) + " rpm. Single visits of this unit scatter by " +
         decimal(std::sqrt(fits.scatter.rpm2), 2) + " rpm and " +
         decimal(std::sqrt(fits.scatter.s2) * 1e3, 1) + " ms (standard deviation): about " +
         decimal(std::ceil(fit.visits * times * times), 0) + " visits are needed";
}

std::string say_between(const RpmBetween& b) {
  if (!std::isfinite(b.high_rpm)) return "above " + decimal(b.low_rpm, 1) + " rpm";
  if (!std::isfinite(b.low_rpm)) return "at most " + decimal(b.high_rpm, 1) + " rpm";
  return "between " + decimal(b.low_rpm, 1) + " and " + decimal(b.high_rpm, 1) + " rpm";
}

using Responses = ThresholdBounds::Responses;

// Of the lamp that moves last.
Responses allowed_response(const Gauge& gauge, const JudgeSetup& setup) {
  const double lag_s = to_seconds(setup.bench.source.lag);
  return {to_seconds(gauge.tolerance.response_from) - lag_s,
          to_seconds(gauge.tolerance.response_to + gauge.tolerance.settle) + lag_s};
}

// The responses that a boundary without one of its own may have: what the others showed in
// this direction, else what is allowed.
Responses likely_response(const Gauge& gauge, const JudgeSetup& setup, const BoundaryEvidence& evidence,
                          Direction direction) {
  const Responses allowed = allowed_response(gauge, setup);
  if (!has_a_lever(evidence, direction)) return allowed;  // the response of the other way says nothing
  const ThresholdFits& fits = evidence.fits;
  Responses seen{infinite, 0};
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    const ResponseFit& fit = fits.responses[way_of(b, direction)];
    if (!fit.measured) continue;
    const double doubt = fit.expanded_uncertainty_s + 2 * fits.response_scatter_s;
    seen.fastest_s = std::min(seen.fastest_s, fit.response_s - doubt);
    seen.slowest_s = std::max(seen.slowest_s, fit.response_s + doubt);
  }
  if (seen.slowest_s == 0) return allowed;
  return {std::max({seen.fastest_s, allowed.fastest_s, 0.0}),
          std::clamp(seen.slowest_s, 0.0, allowed.slowest_s)};
}

class Row {
 public:
  Row(const Gauge& gauge, const JudgeSetup& setup, const WindowReading& reading,
      const BoundaryEvidence& evidence, std::size_t boundary, Direction direction)
      : gauge_(gauge),
        setup_(setup),
        reading_(reading),
        evidence_(evidence),
        fits_(evidence.fits),
        b_(boundary),
        way_(way_of(boundary, direction)),
        limit_(gauge.tolerance.rpm) {
    row_.boundary = name(gauge, boundary);
    row_.direction = direction;
    row_.nominal_rpm =
        direction == Direction::rising ? gauge.rising_rpm(boundary) : gauge.falling_rpm(boundary);
    row_.asked = setup.what.thresholds;
  }

  BoundaryResult made(FindingLog& log) {
    const double ramps = fits_.fits[way_].visits > 0 ? fits_.fits[way_].expanded_uncertainty_rpm : infinite;
    if (evidence_.held[way_].passes > 0 && fits_.scatter_seen && held_u() < ramps)
      from_holds();
    else if (fits_.fits[way_].visits > 0)
      from_fit();
    else
      from_bounds();
    if (row_.verdict == Verdict::fail) report(log);
    return std::move(row_);
  }

 private:
  void from_fit() {
    const ThresholdFit& fit = fits_.fits[way_];
    row_.visits = fit.visits;
    row_.threshold_rpm = fit.threshold_rpm;
    row_.expanded_uncertainty_rpm = fit.expanded_uncertainty_rpm;
    row_.budget = fit.budget;
    row_.coverage_factor = fit.coverage_factor;
    row_.dof = fit.dof;
    if (const ResponseFit& response = fits_.responses[way_]; response.measured) {
      row_.response_ms = response.response_s * 1e3;
      row_.response_uncertainty_ms = response.expanded_uncertainty_s * 1e3;
    }
    // Without a lever the response may be anything allowed, whatever it is the other way.
    const double span_s = to_seconds(gauge_.tolerance.response_to - gauge_.tolerance.response_from);
    if (!has_a_lever(evidence_, row_.direction)) {
      row_.response_ms = row_.response_uncertainty_ms = not_measured;
      // As far off as that, either way: rectangular (GUM 4.3.7).
      const double off = std::min(evidence_.slowest[way_], 1e4) * span_s / std::sqrt(3.0);
      row_.budget.push_back({"rate x response, not measured", off, infinite});
      row_.expanded_uncertainty_rpm = std::hypot(row_.expanded_uncertainty_rpm, row_.coverage_factor * off);
    }
    const double deviation = row_.threshold_rpm - row_.nominal_rpm, u = row_.expanded_uncertainty_rpm;
    row_.verdict = decided(deviation, u);
    // Visits that disagree this much have no line through them to judge by; and no unit fails for
    // what a response that it may have explains.
    const double open = open_response_rpm(gauge_, evidence_, way_);
    if (row_.verdict == Verdict::fail &&
        (u > 5 * limit_ || decided(deviation, std::max(u, open)) != Verdict::fail)) {
      row_.verdict = Verdict::undecided;
      row_.remark = "a response that is allowed explains it too: cross it at two rates, one of at most " +
                    slow_enough(gauge_, limit_, 0);
    }
    if (setup_.what.within_rpm > 0 && row_.verdict != Verdict::fail && u > setup_.what.within_rpm) {
      row_.verdict = Verdict::undecided;
      row_.remark = not_within(setup_.what.within_rpm, fit, fits_);
    } else if (row_.verdict == Verdict::undecided && u >= limit_) {
      withhold(u);
      row_.remark =
          "at these rates a wrong threshold and a slow response look the same: cross it at two rates, one of "
          "at most " +
          slow_enough(gauge_, limit_, 0);
    } else if (row_.verdict == Verdict::undecided && row_.remark.empty()) {
      row_.remark = "too near the limit of +-" + decimal(limit_, 1) +
                    " rpm to decide: more slow crossings make U smaller";
    }
  }

  // What rests on the response that is allowed is no measurement: only what it leaves open. A
  // survey goes on until it is one.
  void withhold(double u) {
    if (setup_.what.within_rpm > 0) return;
    row_.between_rpm = {row_.threshold_rpm - u, row_.threshold_rpm + u};
    row_.threshold_rpm = row_.expanded_uncertainty_rpm = not_measured;
    row_.coverage_factor = row_.dof = not_measured;
    row_.budget.clear();
  }

  // Scripted noise makes a sound unit change early: that may be held against no unit, and
  // makes none pass.
  Verdict decided(double deviation, double u) const {
    const double allowance = noise_allowance_rpm(setup_.noise, gauge_, gauge_.windows[b_].from_rpm);
    const Verdict plain = decide(deviation, u, -limit_, limit_);
    if (plain != Verdict::fail || allowance == 0) return plain;
    return decide(deviation, u, -limit_ - allowance, limit_ + allowance) == Verdict::fail
               ? Verdict::fail
               : Verdict::undecided;
  }

  void from_bounds() {
    const bool blinking = BlinkBoundary::is_one(reading_, b_);
    const Responses allowed = allowed_response(gauge_, setup_);
    Responses likely = allowed, either_way = allowed;
    if (blinking) {
      const bool rising = row_.direction == Direction::rising;
      likely = likely_response(gauge_, setup_, evidence_, row_.direction);
      const Responses back =
          likely_response(gauge_, setup_, evidence_, rising ? Direction::falling : Direction::rising);
      either_way = {std::min(likely.fastest_s, back.fastest_s), std::max(likely.slowest_s, back.slowest_s)};
    }
    const ThresholdBounds::Between between =
        evidence_.bounds[b_].between(row_.direction, likely, either_way, allowed);
    row_.visits = between.passes;
    if (between.known())
      decide_between(between, blinking);
    else if (blinking)
      decide_one_side(between);
    if (row_.verdict == Verdict::undecided) advise(blinking);
  }

  double held_u() const {
    return std::hypot(0.95 * evidence_.held[way_].half_width_rpm(), 2 * std::sqrt(fits_.scatter.rpm2),
                      bench_rpm());
  }

  // Anywhere between the two rpm (rectangular, GUM 4.3.7: 95 % of it), and what the unit and the bench add.
  void from_holds() {
    const HeldThresholds::Between& held = evidence_.held[way_];
    row_.by_holds = true;
    row_.visits = held.passes;
    row_.threshold_rpm = (held.low_rpm + held.high_rpm) / 2;
    const double half = held.half_width_rpm(), scatter = std::sqrt(fits_.scatter.rpm2);
    row_.budget = {{"between two holds", half / std::sqrt(3.0), infinite},
                   {"unit's readings", scatter, fits_.scatter_dof},
                   {"bench", bench_rpm() / 2, infinite}};
    WelchSatterthwaite all;
    for (const BudgetLine& line : row_.budget) all.add(line.standard_uncertainty_rpm, line.dof);
    const double u = held_u();
    row_.expanded_uncertainty_rpm = u;
    row_.coverage_factor = u / all.combined();
    row_.dof = infinite;
    row_.verdict = decided(row_.threshold_rpm - row_.nominal_rpm, u);
    ask_within(u);
  }

  void ask_within(double u) {
    const double within = setup_.what.within_rpm;
    if (row_.verdict == Verdict::fail || !(within > 0) || u <= within) return;
    row_.verdict = Verdict::undecided;
    row_.remark = "known only to " + decimal(u, 2) + " rpm, wanted " + decimal(within, 2) + " rpm";
  }

  // Of the bench, bounds or two standard uncertainties.
  double bench_rpm() const {
    return 2 * std::hypot(setup_.bench.source.clock_ppm * 1e-6 * row_.nominal_rpm, setup_.rpm_uncertainty) +
           setup_.bench.source.rpm;
  }

  // Of the unit's reading, and of the scripted noise in it.
  double unit_rpm() const {
    const double scatter = fits_.scatter_seen ? 2 * std::sqrt(fits_.scatter.rpm2) : 0;
    if (setup_.noise.quiet()) return scatter;
    const ReadingNoise noise = reading_noise(setup_.noise, gauge_, row_.nominal_rpm);
    return scatter + 2 * noise.random_rpm + noise.pattern_rpm;
  }

  // It was never seen to cross: it stayed on one side where it had to be on the other.
  void decide_one_side(const ThresholdBounds::Between& between) {
    const double off = between.low_rpm - row_.nominal_rpm > 0 ? between.low_rpm - row_.nominal_rpm
                                                              : row_.nominal_rpm - between.high_rpm;
    if (!(off - bench_rpm() - unit_rpm() > limit_) || decided(off, bench_rpm() + unit_rpm()) != Verdict::fail)
      return;
    row_.verdict = Verdict::fail;
    row_.between_rpm = {between.low_rpm, between.high_rpm};
  }

  void decide_between(const ThresholdBounds::Between& between, bool blinking) {
    double low = between.low_rpm, high = between.high_rpm;
    const double unit = unit_rpm();
    // Visits of a unit that scatters contradict each other by as much.
    if (low > high) {
      if (low - high > 2 * unit + 1) {
        row_.remark = "visits disagree by " + decimal(low - high, 1) + " rpm: cross it more often, slowly";
        return;
      }
      std::swap(low, high);
    }
    if (!(low > 0) || !std::isfinite(high)) return;
    const double u = (high - low) / 2 + bench_rpm() + unit;
    row_.between_rpm = {low, high};
    row_.verdict = decided((low + high) / 2 - row_.nominal_rpm, u);
    // Two rpm before and after a jump are no measurement, and while windows are passed in a moment their
    // pictures may be taken for each other: a change that came at the wrong time has its own finding.
    if (!blinking) row_.verdict = Verdict::undecided;
    if (blinking && u <= limit_) {
      row_.threshold_rpm = (low + high) / 2;
      row_.expanded_uncertainty_rpm = u;
      row_.coverage_factor = 2;
    }
    ask_within(u);
  }

  void advise(bool blinking) {
    if (!row_.remark.empty()) return;
    if (blinking) {
      const double phase_s = to_seconds(
          BlinkBoundary(gauge_, reading_, b_, 2 * setup_.bench.watcher.resolution).longest_phase());
      row_.remark = "its two sides differ only in blinking: add a ramp of at most " +
                    slow_enough(gauge_, limit_, 2 * phase_s) + ", both ways, or holds of at least " +
                    decimal(phase_s + 2 * to_seconds(gauge_.tolerance.response_to), 1) + " s near it";
    } else if (!evidence_.changed[way_]) {
      row_.remark = "no change was seen at it: check its lamps and their wires";
    } else if (evidence_.slowest[way_] == infinite) {
      row_.remark =
          "only steps cross it, and steps measure the response, not the threshold: add a ramp of at most " +
          slow_enough(gauge_, limit_, 0) + ", both ways";
    } else {
      row_.remark = "no crossing could be used: cross it at a steady rate of at most " +
                    slow_enough(gauge_, limit_, 0) + ", both ways";
    }
  }

  void report(FindingLog& log) const {
    const bool low = (row_.between_rpm ? row_.between_rpm->high_rpm : row_.threshold_rpm) < row_.nominal_rpm;
    const bool early = low == (row_.direction == Direction::rising);
    const std::string what = "boundary " + row_.boundary + ", " + std::string(word(row_.direction)) + ": ";
    const std::string seen =
        row_.between_rpm ? "the threshold is " + say_between(*row_.between_rpm) + "; set is " +
                               decimal(row_.nominal_rpm, 1) + " rpm, allowed +-" + decimal(limit_, 1) + " rpm"
                         : "threshold " + decimal(row_.threshold_rpm, 1) + " rpm, " +
                               decimal(row_.threshold_rpm - row_.nominal_rpm, 1) + " rpm from " +
                               decimal(row_.nominal_rpm, 1) + "; allowed +-" + decimal(limit_, 1) +
                               " rpm, U = " + decimal(row_.expanded_uncertainty_rpm, 1) + " rpm";
    log.add({early ? FindingKind::early : FindingKind::late, evidence_.first_seen[way_], row_.boundary, "",
             what + seen + (row_.remark.empty() ? "" : "; " + row_.remark)});
  }

  const Gauge& gauge_;
  const JudgeSetup& setup_;
  const WindowReading& reading_;
  const BoundaryEvidence& evidence_;
  const ThresholdFits& fits_;
  std::size_t b_, way_;
  double limit_;  // what a threshold may be off by
  BoundaryResult row_;
};

}  // namespace

std::vector<BoundaryResult> boundary_rows(const Gauge& gauge, const JudgeSetup& setup,
                                          const WindowReading& reading, const BoundaryEvidence& evidence,
                                          FindingLog& log) {
  std::vector<BoundaryResult> rows;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    if (reading.look_alike(b - 1, b)) continue;
    for (const Direction direction : {Direction::rising, Direction::falling})
      if (evidence.crossed[way_of(b, direction)])
        rows.push_back(Row(gauge, setup, reading, evidence, b, direction).made(log));
  }
  return rows;
}

}  // namespace tachproof

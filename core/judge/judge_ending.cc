#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>

#include "core/base/statistics.h"
#include "core/base/text.h"
#include "core/judge/allowance.h"
#include "core/judge/boundary_rows.h"
#include "core/judge/fit_memo.h"
#include "core/judge/judge_impl.h"
#include "core/judge/thresholds.h"

namespace tachproof {

SeenTransition Judge::Impl::describe(const Crossing& crossing) const {
  const ExpectedTransition& d = crossing.demand;
  SeenTransition seen;
  seen.crossing = crossing;
  seen.blink_only = reading_.alike_while_lit(d.boundary - 1, d.boundary) && gauge_.blink.has_value();
  const Tolerance& tolerance = gauge_.tolerance;
  const Nanos nominal = d.nominal - tolerance.response_from;
  seen.rate_rpm_per_s = history_.slope_at(nominal);
  seen.rpm_earliest = history_.rpm_at(d.earliest);
  seen.rpm_latest = history_.rpm_at(d.latest);

  // A jump of the profile over the threshold?
  const Nanos first = std::min(nominal, d.earliest) - tolerance.response_to - ns_per_ms;
  Nanos step_at = 0;
  if (history_.steps_between(first, d.latest)) {
    step_at = history_.last_step_in(first, d.latest);
    const double before = history_.rpm_at(step_at - 1), after = history_.rpm_at(step_at);
    seen.step = d.direction == Direction::rising ? before < d.nominal_rpm && after >= d.nominal_rpm
                                                 : before >= d.nominal_rpm && after < d.nominal_rpm;
  }
  if (seen.step) seen.rate_rpm_per_s = 0;
  const double sign = d.direction == Direction::rising ? 1 : -1;
  // Up to the change itself: where the profile has turned since, its rpm then says nothing.
  const bool dated_by_rpm =
      crossing.timing == Crossing::Timing::missing || crossing.timing == Crossing::Timing::hidden ||
      (history_.turns_between(std::min(d.earliest, crossing.at), std::max(d.latest, crossing.at)) == 0 &&
       history_.slope_at(crossing.at) * sign > 0);
  seen.monotone = !seen.step && dated_by_rpm && history_.turns_between(d.earliest, d.latest) == 0 &&
                  history_.slope_at(d.earliest) * sign > 0 && history_.slope_at(d.latest) * sign > 0 &&
                  seen.rate_rpm_per_s * sign > 0;
  if (crossing.timing == Crossing::Timing::missing) return seen;
  const bool dated = crossing.timing != Crossing::Timing::hidden;
  seen.disturbed = disturbances_.any(dated ? std::min(d.earliest, crossing.at) : d.earliest,
                                     dated ? std::max(d.latest, crossing.at) : d.latest);
  if (const std::optional<Nanos> phase = sides_.longest_phase(d.boundary); phase && dated) {
    seen.earliest_at = crossing.at - *phase;
    seen.rpm_before = history_.rpm_at(seen.earliest_at);
    seen.rpm_after = history_.rpm_at(crossing.at);
  }
  if (dated && seen.disturbed)
    seen.wrong_for = wrong_side(d, seen.earliest_at > 0 ? seen.earliest_at : crossing.at, crossing.at);
  seen.beyond_neighbours = dated && beyond_neighbours(d.boundary, d.direction, crossing.at);
  seen.observed_rpm = history_.rpm_at(crossing.at);
  seen.step_response_s = seen.step ? to_seconds(crossing.at - step_at) : 0;
  return seen;
}

// For how long the unit was on the wrong side of a boundary that it changed at in
// from..at, whatever an odd pulse may have made of the rpm meanwhile. 0 where that is all.
Nanos Judge::Impl::wrong_side(const ExpectedTransition& due, Nanos from, Nanos at) const {
  const bool late = from > due.latest, early = at < due.earliest;
  if (!late && !early) return 0;
  const Nanos first = late ? due.latest : at, last = late ? from : due.earliest;
  // Inside the deadband it may have been thrown over by an odd pulse, and stay there rightly: only
  // where r has been beyond it for as long as an answer takes is there one right side.
  const bool rising = due.direction == Direction::rising, must_be_above = rising == late;
  const double doubt = gauge_.tolerance.rpm + noise_allowance_rpm(setup_.noise, gauge_, due.nominal_rpm);
  const Nanos answer = gauge_.tolerance.response_to + slack();
  constexpr Nanos pieces = 32;
  Nanos wrong = 0;
  for (Nanos k = 0; k < pieces; ++k) {
    const Nanos a = first + (last - first) * k / pieces, b = first + (last - first) * (k + 1) / pieces;
    const auto [least, most] = history_.range_between(a - answer, b);
    if (must_be_above ? least >= gauge_.rising_rpm(due.boundary) + doubt
                      : most < gauge_.falling_rpm(due.boundary) - doubt)
      wrong += disturbances_.outside(a, b);
  }
  // What is left beside an odd pulse may be the last instants of its answer to it.
  return wrong > 2 * slack() + from_seconds(2 * bench_uncertainty(setup_.bench).timing_s) ? wrong : 0;
}

// A change where another boundary's is due says nothing of this one's threshold.
bool Judge::Impl::beyond_neighbours(std::size_t b, Direction direction, Nanos at) const {
  const auto threshold = [&](std::size_t n) {
    return direction == Direction::rising ? gauge_.rising_rpm(n) : gauge_.falling_rpm(n);
  };
  const auto [low, high] = std::minmax({history_.rpm_at(at - gauge_.tolerance.response_from),
                                        history_.rpm_at(at - gauge_.tolerance.response_to)});
  return (b > 1 && high < threshold(b - 1)) || (b < gauge_.boundaries() && low > threshold(b + 1));
}

void Judge::Impl::keep_visit(const SeenTransition& seen) {
  const Crossing& crossing = seen.crossing;
  const Crossing::Timing timing = crossing.timing;
  if (timing == Crossing::Timing::missing || timing == Crossing::Timing::hidden || seen.blink_only) return;
  // Lamps that were no window's picture before or after, or pulses that were odd, date nothing.
  if (!sides_.saw_clearly(crossing.at) ||
      disturbances_.any(crossing.at - gauge_.tolerance.response_to, crossing.at))
    return;
  if (!seen.beyond_neighbours) visits_.add(seen, history_);
}

RunResult Judge::Impl::finish(Nanos until, bool complete) {
  pictures_.finish(until);
  take_expectation();
  if (history_.empty() || expected_until_ < until) {
    expectation_.finish(until);
    take_expectation();
  }
  advance_to(until);
  span_ended(until);
  if (wrong_.is_one()) end_wrong(until, false, false);
  leave_blinks(until);
  crossings_.finish(until);
  take_crossings();
  take_chatter();
  last_words(until, complete);
  return std::move(result_);
}

void Judge::Impl::stuck_lamps() {
  for (std::size_t c = 0; c < gauge_.channels(); ++c) {
    const Channels bit = Channels{1} << c;
    const bool never_lit = ever_.never_lit() & bit;
    const bool never_dark = ever_.never_dark() & bit;
    if (never_lit)
      log_.add({FindingKind::stuck_lamp, 0, "", gauge_.channel_name(c),
                gauge_.channel_name(c) + " was never lit, though the settings light it"});
    if (never_dark)
      log_.add({FindingKind::stuck_lamp, 0, "", gauge_.channel_name(c),
                gauge_.channel_name(c) + " was never dark, though the settings turn it off"});
  }
}

void Judge::Impl::withdraw_thresholds(const std::string& why) {
  for (BoundaryResult& row : result_.boundaries) {
    BoundaryResult untold;
    untold.boundary = row.boundary;
    untold.direction = row.direction;
    untold.nominal_rpm = row.nominal_rpm;
    untold.visits = row.visits;
    untold.remark = why;
    row = std::move(untold);
  }
  result_.deadbands.clear();
  result_.responses.clear();
}

// What the watcher itself does not believe is no measurement.
void Judge::Impl::withdraw_numbers() {
  for (BlinkResult& row : result_.blinks)
    for (std::size_t c = 0; c < gauge_.channels(); ++c)
      if (((unsure_blinks_ >> c) & 1) && gauge_.channel_name(c) == row.lamp) {
        row.hz = row.duty = not_measured;
        if (row.verdict == Verdict::pass) row.verdict = Verdict::undecided;
      }
  // A boundary that blinks decide is not decided by these.
  if (unsure_blinks_ != 0)
    for (BoundaryResult& row : result_.boundaries)
      if (row.between_rpm && row.verdict == Verdict::pass) row.verdict = Verdict::undecided;
  if (log_.any(FindingKind::unknown_colour))
    withdraw_thresholds(
        "a lamp was lit in a colour that it was not taught, so that its changes date nothing");
  if (untimed_.empty()) return;
  for (TransitionResult& row : result_.transitions) {
    row.observed_rpm = row.deviation_rpm = row.expanded_uncertainty_rpm = not_measured;
    row.seen = false;
    row.at = 0;
    row.verdict = Verdict::undecided;
  }
  withdraw_thresholds(untimed_);
  for (BlinkResult& row : result_.blinks) {
    row.hz = row.duty = not_measured;
    row.verdict = Verdict::undecided;
  }
}

// Whatever looks sound may be late, or off, together with the changes that the
// time was set by. A row that fails does not fit those changes: it stays.
void Judge::Impl::by_its_own_changes() {
  constexpr const char* why =
      "the run's time was set by the unit's own changes; film a sync lamp to measure this";
  for (TransitionResult& row : result_.transitions)
    if (row.verdict == Verdict::pass) row.verdict = Verdict::undecided;
  withdraw_thresholds(why);
  log_.add({FindingKind::lost_evidence, 0, "", "",
            "there was no sync lamp, so the run's time was set by the unit's own first and last change. A "
            "unit that is late or off as a whole would not be noticed. No threshold is measured, and this "
            "run cannot pass: film a sync lamp and run again"});
}

BoundaryEvidence Judge::Impl::boundary_evidence(const ThresholdFits& fits) const {
  const std::size_t ways = 2 * gauge_.windows.size();
  constexpr double steps_only = std::numeric_limits<double>::infinity();
  BoundaryEvidence out{fits,
                       sides_.bounds(),
                       std::vector<bool>(ways),
                       std::vector<bool>(ways),
                       std::vector<double>(ways, steps_only),
                       std::vector<double>(ways, 0.0),
                       std::vector<Nanos>(ways, 0),
                       {}};
  for (std::size_t way = 0; way < ways; ++way) out.held.push_back(held_.between(way, visits_.memory()));
  for (std::size_t b = 1; b <= gauge_.boundaries(); ++b)
    for (const Direction direction : {Direction::rising, Direction::falling})
      out.crossed[way_of(b, direction)] = expectation_.crossings(b, direction) > 0;
  for (const SeenTransition& one : seen_) {
    const std::size_t way = way_of(one.crossing.demand.boundary, one.crossing.demand.direction);
    const Crossing::Timing timing = one.crossing.timing;
    const bool undated = one.disturbed || one.blink_only || (!one.step && one.beyond_neighbours);
    const bool came = timing != Crossing::Timing::missing && timing != Crossing::Timing::hidden;
    if (came) {
      if (!out.changed[way]) out.first_seen[way] = one.crossing.at;
      out.changed[way] = true;
      if (!undated)
        out.fastest[way] = std::max(out.fastest[way], one.step ? steps_only : std::abs(one.rate_rpm_per_s));
    }
    // A crossing that dates nothing makes no other one slower.
    if (!one.step && one.rate_rpm_per_s != 0 && !(came && one.beyond_neighbours))
      out.slowest[way] = std::min(out.slowest[way], std::abs(one.rate_rpm_per_s));
  }
  return out;
}

// An undecided transition whose boundary was decided all the same, by another pass or by
// its threshold's row, leaves nothing open.
bool Judge::Impl::counts(const TransitionResult& row) const {
  if (row.verdict != Verdict::undecided || row.remark.empty()) return true;
  // The run's own beginning is no crossing that was asked for.
  const auto crossed = [&](const BoundaryResult& b) {
    return b.boundary == row.boundary && b.direction == row.direction;
  };
  if (row.between_rpm && !setup_.what.thresholds) return false;
  if (std::none_of(result_.boundaries.begin(), result_.boundaries.end(), crossed)) return false;
  const auto same = [&](const auto& other) {
    return other.boundary == row.boundary && other.direction == row.direction &&
           other.verdict == Verdict::pass;
  };
  return std::none_of(result_.transitions.begin(), result_.transitions.end(), same) &&
         std::none_of(result_.boundaries.begin(), result_.boundaries.end(), same);
}

FitSetup Judge::Impl::fit_setup(const BenchUncertainty& bench) const {
  FitSetup fit;
  fit.response_from_s = to_seconds(gauge_.tolerance.response_from);
  fit.response_to_s = to_seconds(gauge_.tolerance.response_to);
  fit.rpm_noise = bench.rpm;
  fit.pulses_per_rev = gauge_.pulses_per_rev;
  fit.bench = bench;
  if (!setup_.noise.quiet()) {
    // One figure for all: the noise where it is largest.
    double most = 0;
    for (std::size_t b = 1; b <= gauge_.boundaries(); ++b)
      most = std::max(most, reading_noise(setup_.noise, gauge_, gauge_.windows[b].from_rpm).random_rpm);
    fit.rpm_noise = std::hypot(fit.rpm_noise, most);
  }
  return fit;
}

// The rows, and the findings of the unit.
void Judge::Impl::make_rows(FindingLog& unit_log) {
  BenchFacts facts = setup_.bench;
  if (const std::optional<StampTimes>& stamps = result_.stamps) {
    facts.watcher.stamp_width = stamps->width;
    facts.watcher.stamp_uncertainty = stamps->uncertainty;
    facts.watcher.stamp_offset = stamps->offset;
  }
  const BenchUncertainty bench = bench_uncertainty(facts, setup_.rpm_uncertainty);
  // What all stamps share looks like response: the fit takes it there, and once.
  std::vector<Visit> visits = visits_.all();
  for (Visit& visit : visits) visit.timing_s = bench.own_timing_s;
  const FitSetup how = fit_setup(bench);
  const ThresholdFits fits = setup_.memo != nullptr ? setup_.memo->fits(visits, gauge_.boundaries(), how)
                                                    : fit_thresholds(visits, gauge_.boundaries(), how);
  result_.memory = visits_.memory();
  if (fits.scatter_seen)
    result_.scatter = {std::sqrt(fits.scatter.rpm2), std::sqrt(fits.scatter.s2) * 1e3, fits.scatter_dof};
  result_.transitions = transition_rows(gauge_, seen_, fits, bench, unit_log);
  const bool timed = setup_.bench.watcher.time_by != TimeRelation::lamp_changes;
  FindingLog untimed;
  if (setup_.what.transitions) {
    FindingLog& log = timed ? unit_log : untimed;
    const BoundaryEvidence evidence = boundary_evidence(fits);
    result_.boundaries = boundary_rows(gauge_, setup_, reading_, evidence, log);
    result_.deadbands = deadband_rows(gauge_, setup_, result_.boundaries, evidence, log);
    result_.responses = response_rows(gauge_, setup_, evidence, log);
  }
  if (!timed) by_its_own_changes();
  if (setup_.what.blink) result_.blinks = blink_rows(gauge_, reading_, meters_, demanded_, bench, unit_log);
  withdraw_numbers();
}

// Of all findings and rows.
Verdict Judge::Impl::verdict() {
  Verdict verdict = log_.verdict();
  for (TransitionResult& row : result_.transitions) {
    row.asked = counts(row);
    if (row.asked) verdict = worst(verdict, row.verdict);
  }
  for (const BlinkResult& row : result_.blinks) verdict = worst(verdict, row.verdict);
  for (const AnswerResult& row : result_.answers) verdict = worst(verdict, row.verdict);
  const auto take = [&](const auto& rows) {
    for (const auto& row : rows)
      if (row.asked || row.verdict == Verdict::fail) verdict = worst(verdict, row.verdict);
  };
  take(result_.boundaries);
  take(result_.deadbands);
  take(result_.responses);
  return verdict;
}

void Judge::Impl::last_words(Nanos until, bool complete) {
  // A unit that is dead and a watcher that is blind look the same.
  const bool dead = result_.evidence.lamp_changes == 0 && !seen_.empty() && !setup_.lamps_live;
  say_unseen(dead);
  if (!dead) say_apart();
  FindingLog unit_log;
  make_rows(unit_log);
  if (dead) {
    for (TransitionResult& row : result_.transitions) row.verdict = Verdict::undecided;
    for (BlinkResult& row : result_.blinks) row.verdict = Verdict::undecided;
    for (BoundaryResult& row : result_.boundaries) row.verdict = Verdict::undecided;
  } else {
    std::uint64_t left_out = 0;
    for (Finding& finding : unit_log.take(left_out)) log_.add(std::move(finding));
    result_.findings_left_out += left_out;
  }
  note_flicker();
  note_lamps();
  note_holds();
  say_disturbed();
  say_left_out();
  note_unwired_and_glitches();
  // Whatever was seen until then.
  const Verdict of_rows = verdict();
  // But a lamp in a colour that it does not have is wrong, whatever else was missed.
  const bool decided = (complete && !dead) || log_.any(FindingKind::unknown_colour);
  result_.verdict = decided ? of_rows : Verdict::undecided;
  result_.findings = log_.take(result_.findings_left_out);
  result_.complete = complete;
  result_.duration = until;
}

}  // namespace tachproof

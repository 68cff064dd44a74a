#include "bench/run/dwell_run.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "bench/record/folder_format.h"
#include "bench/run/evidence_writer.h"
#include "bench/run/flicker_study.h"
#include "bench/run/pace.h"
#include "bench/run/playing.h"
#include "core/base/text.h"
#include "core/flicker/flicker_causes.h"
#include "core/flicker/flicker_counter.h"

namespace tachproof {
namespace {

// Before each hold the unit settles.
constexpr Nanos settling = 2 * ns_per_s;
// Over the boundary and back some times, to find the unit's own deadband.
constexpr double widest_sweep_rpm = 60;  // either way
constexpr double sweep_rpm_per_s = 20;
constexpr int sweeps_made = 12;
constexpr std::size_t means_tried = 5;

// The search gets, over all its holds, as long as the shortest useful dwell.
Nanos search_hold(const Dwell& dwell) { return dwell.shortest() / static_cast<Nanos>(means_tried); }

class DwellRun {
 public:
  DwellRun(const DwellPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks)
      : plan_(plan),
        folder_(folder),
        pace_(pace_of(rig.source->facts(), rig.watcher->facts(), hooks.in_real_time)),
        counter_(plan.gauge, rig.watcher->facts().wired & plan.gauge.all_channels()),
        writer_(folder, plan.gauge),
        playing_(
            rig, hooks,
            [this](FindingKind kind, Nanos, std::string message) { found(kind, std::move(message)); },
            [this](std::span<const LampEvent> events, Nanos certain, const Seen& seen) {
              saw(events, certain, seen);
            }) {}

  RunOutcome run() {
    const bool held_all = playing_.done([this] { predict(); }) && playing_.play([this] { hold_all(); });
    const bool written = playing_.done([this] { writer_.close(seen_until_); });
    RunResult& r = result_;
    r.evidence.lost = playing_.lost();
    r.complete = held_all && written && r.evidence.lost == 0;
    r.duration = seen_until_;
    r.evidence.lamp_changes = writer_.lamp_events();
    if (!counter_.any_lamps())
      found(FindingKind::lost_evidence,
            "the watcher reported no lamp state: check that it is connected, then run again");
    r.verdict = r.flicker.empty() || unheld_ ? Verdict::undecided : Verdict::pass;
    for (const FlickerResult& row : r.flicker) r.verdict = worst(r.verdict, row.verdict);
    for (const Finding& finding : r.findings) r.verdict = worst(r.verdict, verdict_of(finding.kind));
    if (!r.complete) r.verdict = Verdict::undecided;  // whatever was seen until then
    return {std::move(result_), writer_.trace()};
  }

 private:
  void found(FindingKind kind, std::string message, std::string window = "") {
    result_.findings.push_back({kind, seen_until_, std::move(window), "", std::move(message)});
  }

  void hold_all() {
    for (std::size_t b = 1; b <= plan_.gauge.boundaries() && !playing_.stopped(); ++b) {
      if (counter_.is_blind(b)) {
        result_.notes.push_back(
            "boundary " + name(b) +
            " was not held: the wired lamps show no steady difference between its two sides");
        continue;
      }
      const std::optional<double> middle = find_deadband(b);
      if (playing_.stopped()) return;
      if (!middle) continue;
      const double mean = find_worst(b, *middle);
      if (!playing_.stopped()) decide(b, mean);
    }
  }

  // What a sound unit of these settings makes of the noise: where to look, and
  // what the unit is not to blame for.
  void predict() {
    FlickerAsk ask;
    ask.noise = plan_.noise;
    ask.unit = plan_.unit;
    ask.limit_per_min = plan_.dwell.limit_per_min;
    ask.seed = plan_.seed;
    ask.widest_rpm = std::max(50.0, std::ceil(plan_.gauge.deadband.rpm));
    FlickerStudy study = study_flicker(plan_.gauge, ask);
    const auto row = static_cast<std::size_t>(std::floor(plan_.gauge.deadband.rpm));
    for (BoundaryCurve& curve : study.boundaries) {
      predicted_.push_back(curve.rows[row]);
      dispersions_.push_back(dispersion_at_limit(curve));
    }
  }

  // Slow wander makes changes come in bursts, and a burst is worth little more
  // than one of them. What counts is how they come where there are as many as
  // the limit allows.
  double dispersion_at_limit(const BoundaryCurve& curve) const {
    std::size_t r = 0;
    while (r + 1 < curve.rows.size() && curve.rows[r].rate_per_min > plan_.dwell.limit_per_min) ++r;
    const double before = curve.rows[r > 0 ? r - 1 : 0].simulated.dispersion;
    return std::max({1.0, before, curve.rows[r].simulated.dispersion});
  }

  // The middle of the deadband that the unit shows on a ramp up and the same ramp
  // down; its response is later on the one and earlier on the other.
  std::optional<double> find_deadband(std::size_t b) {
    const Gauge& gauge = plan_.gauge;
    const double boundary = gauge.windows[b].from_rpm;
    double room = boundary - gauge.windows[b - 1].from_rpm;
    if (b < gauge.boundaries()) room = std::min(room, gauge.windows[b + 1].from_rpm - boundary);
    const double sweep = std::min(widest_sweep_rpm, room / 2);
    const double middle = (gauge.rising_rpm(b) + gauge.falling_rpm(b)) / 2;
    const Nanos ramp = from_seconds(2 * sweep / sweep_rpm_per_s);
    Repeat sweeps{sweeps_made, {RampByTime{middle + sweep, ramp}, RampByTime{middle - sweep, ramp}}};
    const std::vector<Step> steps = {Hold{middle - sweep, settling}, std::move(sweeps),
                                     Hold{middle - sweep, ns_per_s}};
    const Profile profile(steps);
    const Nanos start = playing_.played();
    play(b, profile, settling, profile.duration() - settling, [](std::uint64_t, Nanos) { return false; });
    double up_sum = 0, down_sum = 0;
    std::size_t ups = 0, downs = 0;
    for (const FlickerCounter::Change& change : counter_.first_changes()) {
      const double rpm = profile.rpm_at(change.at - start);
      if (change.up) up_sum += rpm, ++ups;
      if (!change.up) down_sum += rpm, ++downs;
    }
    if (ups > 0 && downs > 0)
      return (up_sum / static_cast<double>(ups) + down_sum / static_cast<double>(downs)) / 2;
    if (!playing_.stopped()) {
      result_.notes.push_back("boundary " + name(b) + ": the lamps did not change on and off between " +
                              decimal(middle - sweep, 0) + " and " + decimal(middle + sweep, 0) +
                              " rpm, so there is no rpm to hold at: check its threshold with a survey first");
      unheld_ = true;
    }
    return std::nullopt;
  }

  double find_worst(std::size_t b, double own_middle) {
    // The prediction's mean, moved as the unit's deadband is.
    const double settings_middle = (plan_.gauge.rising_rpm(b) + plan_.gauge.falling_rpm(b)) / 2;
    const double middle = own_middle + predicted_[b - 1].mean_rpm - settings_middle;
    const double reach = plan_.gauge.tolerance.rpm;
    double worst_mean = middle;
    double at_middle = 0, most = 0;
    for (const double off : {0.0, -0.5, 0.5, -1.0, 1.0}) {
      const double mean = middle + off * reach;
      hold(b, mean, search_hold(plan_.dwell), [](std::uint64_t, Nanos) { return false; });
      if (playing_.stopped() || reach == 0) break;
      const auto seen = static_cast<double>(counter_.cycles());
      if (off == 0) at_middle = most = seen;
      // Two standard deviations: a few changes by chance must not draw the hold
      // away from the middle to where the unit is quieter.
      const bool clearly = seen - at_middle > 2 * std::sqrt(seen + at_middle);
      if (seen > most && clearly) most = seen, worst_mean = mean;
    }
    return worst_mean;
  }

  void decide(std::size_t b, double mean) {
    const double dispersion = dispersions_[b - 1];
    const RateTest test = plan_.dwell.test(dispersion);
    Verdict verdict = Verdict::undecided;
    const Nanos held = hold(b, mean, plan_.dwell.longest, [&](std::uint64_t cycles, Nanos so_far) {
      verdict = test.decide(cycles, to_seconds(so_far) / 60);
      return verdict != Verdict::undecided;
    });
    const double minutes = to_seconds(held) / 60;
    if (minutes <= 0) return;
    FlickerResult row;
    row.boundary = name(b);
    row.mean_rpm = mean;
    row.duration_s = to_seconds(held);
    row.changes = counter_.changes();
    row.rate_per_min = static_cast<double>(row.changes) / minutes;
    const double worth = static_cast<double>(counter_.cycles()) / dispersion;
    row.upper_95_per_min = 2 * dispersion * one_sided_upper(worth, 0.95) / minutes;
    row.limit_per_min = plan_.dwell.limit_per_min;
    row.verdict = playing_.lost() > 0 ? worst(verdict, Verdict::undecided) : verdict;
    explain(b, row, minutes);
    if (dispersion >= 1.1)
      result_.notes.push_back("boundary " + row.boundary +
                              ": with this noise the changes come in bursts, so " + decimal(dispersion, 1) +
                              " of them count as one");
    result_.flicker.push_back(row);
    folder_.journal(dwell_line(row));
  }

  void explain(std::size_t b, FlickerResult& row, double minutes) {
    if (row.verdict == Verdict::pass) return;
    const Gauge& gauge = plan_.gauge;
    const FlickerReason reason = explain_seen(plan_.noise, plan_.unit, gauge.pulses_per_rev,
                                              gauge.windows[b].from_rpm, predicted_[b - 1].simulated,
                                              static_cast<double>(row.changes), minutes, row.limit_per_min);
    const std::string text = "boundary " + row.boundary + " at " + decimal(row.mean_rpm, 1) +
                             " rpm: " + std::to_string(row.changes) + " lamp changes in " +
                             say_time(from_seconds(row.duration_s)) + ", limit " +
                             decimal(row.limit_per_min, 2) + " per minute; " + reason.sentence;
    if (row.verdict == Verdict::fail)
      found(FindingKind::flicker, text, row.boundary);
    else
      result_.notes.push_back(text);
  }

  // Holds the mean until `done(cycles, held)` or for `longest`; counter_ has
  // counted the hold. Returns how long it held.
  template <class Done>
  Nanos hold(std::size_t b, double mean, Nanos longest, const Done& done) {
    const std::vector<Step> steps = {Hold{mean, settling + longest + ns_per_s}};
    return play(b, Profile(steps), settling, longest, done);
  }

  // Plays the profile and counts changes over boundary b for at most `longest`,
  // once `before` and the unit's response are over.
  template <class Done>
  Nanos play(std::size_t b, const Profile& profile, Nanos before, Nanos longest, const Done& done) {
    const Nanos start = playing_.played();
    PulseTrain train(profile, plan_.gauge.pulses_per_rev, plan_.noise, plan_.seed + ++holds_);
    pulses_.clear();
    bool ended = false;
    const Nanos from = start + before + plan_.gauge.tolerance.response_to;
    counter_.watch(b, from);
    const auto [stretch, ahead] = pace_;
    while (!playing_.stop_asked()) {
      const Nanos until = playing_.played() + stretch;
      while (!ended && (pulses_.empty() || pulses_.back() <= until)) {
        const std::size_t n = train.next(chunk_);
        ended = n == 0;
        for (std::size_t i = 0; i < n; ++i) {
          const Nanos at = start + chunk_[i];
          if (at > last_pulse_ + PulseTrain::min_gap) pulses_.push_back(last_pulse_ = at);
        }
      }
      const auto end = std::upper_bound(pulses_.begin(), pulses_.end(), until);
      const std::span<const Nanos> block(pulses_.begin(), end);
      playing_.give(block, until);
      writer_.pulses(block, until);
      result_.evidence.pulses += block.size();
      pulses_.erase(pulses_.begin(), end);
      if (until - ahead > seen_until_) playing_.collect(until - ahead);
      playing_.show(profile.rpm_at(until - start));
      const Nanos held = seen_until_ - from;
      const bool decided = held > 0 && done(counter_.cycles(), held);
      if (decided || held >= longest) break;
    }
    // Pulses that were made and not played do not come.
    last_pulse_ = std::min(last_pulse_, playing_.played());
    draw(profile, start);
    return std::clamp<Nanos>(seen_until_ - from, 0, longest);
  }

  // What was played of it: a hold may end early.
  void draw(const Profile& profile, Nanos start) {
    for (Segment segment : profile.segments()) {
      const double played_s = to_seconds(playing_.played() - start - segment.start.whole);
      if (played_s <= 0) return;
      segment.lasts_s = std::min(segment.lasts_s, played_s);
      segment.start.whole += start;
      writer_.rpm(segment);
    }
  }

  void saw(std::span<const LampEvent> events, Nanos certain, const Seen& seen) {
    for (const Finding& finding : seen.found) found(finding.kind, finding.message);
    counter_.lamps(events);
    counter_.seen_until(certain);
    writer_.advance(events, certain);
    if (certain < playing_.collected())
      throw RigError(fmt::format("the watcher reported lamps only up to {}", say_time(certain)));
    seen_until_ = certain;
  }

  const std::string& name(std::size_t b) const { return plan_.gauge.windows[b].name; }

  const DwellPlan& plan_;
  RunFolder& folder_;
  Pace pace_;
  FlickerCounter counter_;
  EvidenceWriter writer_;
  RunResult result_;
  std::vector<WidthRow> predicted_;  // at the gauge's deadband, by boundary
  std::vector<double> dispersions_;  // of cycles, where they are as many as the limit allows
  std::array<Nanos, 4096> chunk_{};
  std::vector<Nanos> pulses_;  // generated, not yet played
  std::uint64_t holds_ = 0;
  Nanos last_pulse_ = 0;  // generated
  Nanos seen_until_ = 0;
  bool unheld_ = false;  // a boundary that could not be held
  Playing playing_;
};

}  // namespace

RunOutcome run_dwell(const DwellPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks) {
  return DwellRun(plan, rig, folder, hooks).run();
}

Nanos longest_dwell(const Gauge& gauge, const Dwell& dwell) {
  const Nanos sweep =
      settling + sweeps_made * from_seconds(4 * widest_sweep_rpm / sweep_rpm_per_s) + 2 * ns_per_s;
  const Nanos holds = static_cast<Nanos>(means_tried) * (search_hold(dwell) + settling + ns_per_s);
  return static_cast<Nanos>(gauge.boundaries()) * (sweep + holds + dwell.longest + settling + ns_per_s);
}

}  // namespace tachproof

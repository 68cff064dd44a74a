#include "bench/run/dwell_play.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "core/base/text.h"
#include "core/signal/pulse_train.h"

namespace tachproof {
namespace {

constexpr Nanos before_a_visit = 50 * ns_per_ms, longest_pause = 20 * ns_per_ms;
// Each stretch ends a hold that is decided; in virtual time a longer one costs nothing else.
constexpr Nanos longest_stretch = 100 * ns_per_ms, shortest_stretch = ns_per_ms;

Pace dwell_pace(Pace pace) {
  pace.stretch = std::min(pace.stretch, longest_stretch);
  return pace;
}

}  // namespace

Nanos lasts_on_bench(const DwellVisit& visit) { return visit.lasts(before_a_visit + longest_pause / 2); }

DwellPlay::DwellPlay(const Gauge& gauge, const Noise& noise, std::uint64_t seed, Rig& rig, RunFolder& folder,
                     const RunHooks& hooks, FoundByBench found)
    : gauge_(gauge),
      noise_(noise),
      seed_(seed),
      pace_(dwell_pace(pace_of(rig.source->facts(), rig.watcher->facts(), hooks.in_real_time))),
      counter_(gauge, rig.watcher->facts().wired & gauge.all_channels()),
      writer_(folder, gauge),
      found_(found),
      playing_(rig, hooks, std::move(found),
               [this](std::span<const LampEvent> events, Nanos certain, const Seen& seen) {
                 saw(events, certain, seen);
               }) {}

Nanos DwellPlay::hold(std::size_t b, double mean_rpm, Nanos before, Nanos longest,
                      const std::function<bool(Nanos)>& done) {
  const std::vector<Step> steps = {
      Hold{mean_rpm, before + gauge_.tolerance.response_to + longest + handed_ahead()}};
  return play(b, Profile(steps), noise_, before, longest, done);
}

// What has been handed out when the end is seen; without it the signal would pause there.
Nanos DwellPlay::handed_ahead() const { return pace_.ahead + 2 * pace_.stretch; }

// The golden ratio's multiples are spread evenly however many there are: visits
// meet the unit's updates, and their pulses its thresholds, at all phases.
Nanos DwellPlay::pause() {
  constexpr double golden = 0.6180339887498949;
  const double part = golden * static_cast<double>(++pauses_);
  return from_seconds((part - std::floor(part)) * to_seconds(longest_pause));
}

std::optional<DwellVisit::Seen> DwellPlay::visit(std::size_t b, const DwellVisit& visit) {
  const Nanos settling = before_a_visit + pause();
  std::vector<Step> steps = visit.steps(settling);
  std::get<Hold>(steps.back()).lasts += handed_ahead();
  const Nanos start = playing_.played(), lasts = visit.lasts(settling);
  play(b, Profile(steps), Noise(), settling, lasts - settling - gauge_.tolerance.response_to,
       [](Nanos) { return false; });
  std::vector<DwellVisit::Change> changes;
  for (const FlickerCounter::Change& change : counter_.first_changes())
    changes.push_back({change.at - start, change.up});
  return visit.seen(changes, settling);
}

Nanos DwellPlay::play(std::size_t b, const Profile& profile, const Noise& noise, Nanos before, Nanos longest,
                      const std::function<bool(Nanos)>& done) {
  const Nanos start = playing_.played();
  PulseTrain train(profile, gauge_.pulses_per_rev, noise, seed_ + ++plays_);
  pulses_.clear();
  bool ended = false;
  const Nanos from = start + before + gauge_.tolerance.response_to;
  counter_.watch(b, from);
  const auto [stretch, ahead] = pace_;
  while (!playing_.stop_asked()) {
    const Nanos until = std::min(playing_.played() + stretch,
                                 std::max(from + longest + ahead, playing_.played() + shortest_stretch));
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
    given_ += block.size();
    pulses_.erase(pulses_.begin(), end);
    if (until - ahead > seen_until_) playing_.collect(until - ahead);
    playing_.show(profile.rpm_at(until - start));
    const Nanos held = seen_until_ - from;
    const bool decided = held > 0 && done(std::min(held, longest));
    if (decided || held >= longest) break;
  }
  // Pulses that were made and not played do not come.
  last_pulse_ = std::min(last_pulse_, playing_.played());
  draw(profile, start);
  return std::clamp<Nanos>(seen_until_ - from, 0, longest);
}

// What was played of it: a hold may end early.
void DwellPlay::draw(const Profile& profile, Nanos start) {
  for (Segment segment : profile.segments()) {
    const double played_s = to_seconds(playing_.played() - start - segment.start.whole);
    if (played_s <= 0) return;
    segment.lasts_s = std::min(segment.lasts_s, played_s);
    segment.start.whole += start;
    writer_.rpm(segment);
  }
}

void DwellPlay::saw(std::span<const LampEvent> events, Nanos certain, const Seen& seen) {
  for (const Finding& finding : seen.found) found_(finding.kind, finding.at, finding.message);
  counter_.lamps(events);
  counter_.seen_until(certain);
  writer_.advance(events, certain);
  if (certain < playing_.collected())
    throw RigError(fmt::format("the watcher reported lamps only up to {}", say_time(certain)));
  seen_until_ = certain;
}

}  // namespace tachproof

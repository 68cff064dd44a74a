#include "bench/run/dwell_play.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "core/base/text.h"
#include "core/signal/pulse_train.h"

namespace tachproof {
namespace {

constexpr double visit_rpm_per_s = 20;
constexpr double widest_visit_rpm = 60;  // either way
constexpr Nanos at_the_turn = 100 * ns_per_ms;
// Each stretch ends a hold that is decided; in virtual time a longer one costs nothing else.
constexpr Nanos longest_stretch = 200 * ns_per_ms;

Pace dwell_pace(Pace pace) {
  pace.stretch = std::min(pace.stretch, longest_stretch);
  return pace;
}

}  // namespace

double usual_visit_half(const Gauge& gauge) {
  constexpr double in_hand_rpm = 2;
  return gauge.deadband.rpm / 2 + gauge.tolerance.rpm +
         visit_rpm_per_s * to_seconds(gauge.tolerance.response_to) + in_hand_rpm;
}

double widest_visit_half(const Gauge& gauge, std::size_t b) {
  const double boundary = gauge.windows[b].from_rpm;
  double room = boundary - gauge.windows[b - 1].from_rpm;
  if (b < gauge.boundaries()) room = std::min(room, gauge.windows[b + 1].from_rpm - boundary);
  return std::min(widest_visit_rpm, room / 2);
}

Nanos dwell_visit_lasts(const Gauge& gauge, double half_rpm) {
  return 2 * from_seconds(2 * half_rpm / visit_rpm_per_s) + 3 * (at_the_turn + gauge.tolerance.response_to);
}

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
  constexpr double longest_s = 0.02;
  const double part = golden * static_cast<double>(++pauses_);
  return from_seconds((part - std::floor(part)) * longest_s);
}

// Without the noise: it would make the lamps change early, now here, now there.
// The response makes them late on the way up and as late on the way down.
std::optional<double> DwellPlay::visit(std::size_t b, double middle_rpm, double half_rpm) {
  const double low = middle_rpm - half_rpm, high = middle_rpm + half_rpm;
  const Nanos ramp = from_seconds(2 * half_rpm / visit_rpm_per_s);
  const Nanos turn = at_the_turn + gauge_.tolerance.response_to, before = at_the_turn + pause();
  const std::vector<Step> steps = {Hold{low, before + gauge_.tolerance.response_to}, RampByTime{high, ramp},
                                   Hold{high, turn}, RampByTime{low, ramp}, Hold{low, turn + handed_ahead()}};
  const Profile profile(steps);
  const Nanos start = playing_.played();
  play(b, profile, Noise(), before, 2 * (ramp + turn), [](Nanos) { return false; });
  double up_sum = 0, down_sum = 0;
  std::size_t ups = 0, downs = 0;
  for (const FlickerCounter::Change& change : counter_.first_changes()) {
    const double rpm = profile.rpm_at(change.at - start);
    if (change.up) up_sum += rpm, ++ups;
    if (!change.up) down_sum += rpm, ++downs;
  }
  if (ups == 0 || downs == 0) return std::nullopt;
  return (up_sum / static_cast<double>(ups) + down_sum / static_cast<double>(downs)) / 2;
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

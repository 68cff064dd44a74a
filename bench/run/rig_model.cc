#include "bench/run/rig_model.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "bench/files/regions.h"
#include "bench/rigs/camera/camera_timing.h"
#include "bench/rigs/factory.h"
#include "bench/rigs/pulse_wire.h"
#include "bench/rigs/scpi/scpi_source.h"
#include "core/base/random.h"

namespace tachproof {
namespace {

// What the open device would say: how much later than an edge the firmware stamps it at most, and how
// late an idle kernel does (bench/firmware, bench/rigs/gpio).
constexpr double device_stamp_spread_ns = 17'000;
constexpr Nanos host_stamp_uncertainty = 20 * ns_per_us;

void source_facts(const RigFile& rig, const Gauge& gauge, RigModel& model) {
  model.bench.source = source_states(rig, gauge.pulses_per_rev);
  if (rig.source.scpi) model.steps = stepped_timing(*rig.source.scpi);
}

void camera_facts(const RigFile& rig, const std::string& file, RigModel& model) {
  const CameraSettings& camera = rig.watch.camera;
  if (!(camera.fps > 0))
    throw FileErrors({{file, rig.watch.line, rig.watch.column,
                       "how many frames a second the camera gives is not said, and it is not opened for "
                       "this; add fps to `watch`"}});
  const Regions regions = load_regions(camera.regions);
  const bool by_host = kind_of(rig.source).clock() == SourceClock::host;
  const TimeRelation by = by_host ? TimeRelation::host_clock : TimeRelation::sync_lamp;
  if (by == TimeRelation::sync_lamp && !regions.sync)
    throw FileErrors({{camera.regions, 0, 0, "there is no sync lamp, so its time is not known beforehand"}});
  model.frame = std::llround(1e9 / camera.fps);
  const CameraTiming timing(camera, regions, model.frame, by);
  // As the open camera says it (bench/rigs/camera/camera_watcher.cc).
  WatcherTiming& watcher = model.bench.watcher;
  watcher.resolution = timing.resolution();
  watcher.stamp_uncertainty = static_cast<Nanos>(
      std::hypot(static_cast<double>(timing.most_offset()), static_cast<double>(timing.readout_doubt())) /
      std::numbers::sqrt3);
  watcher.stamp_offset = watcher.stamp_uncertainty;
  watcher.time_by = by;
}

void watcher_facts(const RigFile& rig, const std::string& file, RigModel& model) {
  const WatchKind& kind = kind_of(rig.watch);
  if (kind.films()) {
    camera_facts(rig, file, model);
  } else if (kind.watches_software()) {
    model.behaviour = rig.watch.behaviour;
    model.behaviour.faults.clear();
  } else {
    const SourceClock clock = kind_of(rig.source).clock();
    WatcherTiming stated;
    stated.stamp_uncertainty = clock == SourceClock::device
                                   ? static_cast<Nanos>(device_stamp_spread_ns / std::numbers::sqrt3)
                                   : host_stamp_uncertainty;
    model.bench.watcher = kind.states(rig, clock, stated);
  }
}

}  // namespace

std::vector<LampEvent> RigModel::stamped(std::vector<LampEvent> events, Nanos until,
                                         std::uint64_t seed) const {
  for (LampEvent& event : events) event.lit &= wired;
  std::vector<LampEvent> seen;
  if (frame > 0) {
    const Nanos first = static_cast<Nanos>(Random(seed, 17).uniform() * static_cast<double>(frame));
    std::size_t next = 0;
    Channels lit = 0;
    for (Nanos at = first; at <= until; at += frame) {
      while (next < events.size() && events[next].at <= at) lit = events[next++].lit;
      if (seen.empty())
        seen.push_back({0, lit});
      else if (lit != seen.back().lit)
        seen.push_back({std::max<Nanos>(at - frame / 2, 0), lit});
    }
    return seen;
  }
  const Nanos tick = std::max<Nanos>(bench.watcher.resolution, 1);
  for (const LampEvent& event : events)
    if (seen.empty() || event.lit != seen.back().lit) seen.push_back({event.at / tick * tick, event.lit});
  return seen;
}

std::vector<Nanos> RigModel::stepped_pulses(const Profile& profile, double pulses_per_rev) const {
  SteppedRpm stepped(steps.value());
  for (const Segment& segment : profile.segments()) stepped.add(segment);
  EvenPulses even;
  PulseWire wire;
  while (const std::optional<RpmChange> change = stepped.next(profile.duration()))
    even.frequency(change->at, change->rpm * pulses_per_rev / 60, wire);
  even.run_until(profile.duration(), wire);
  return std::move(wire.pulses);
}

RigModel model_of(const RigFile& rig, const std::string& file, const Gauge& gauge) {
  RigModel model;
  model.wired = watched_by(rig, file, gauge);
  source_facts(rig, gauge, model);
  watcher_facts(rig, file, model);
  model.words = fmt::format("source {}, watch {}", rig.source.kind, rig.watch.kind);
  return model;
}

}  // namespace tachproof

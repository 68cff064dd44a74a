#include "bench/rigs/camera/camera_kind.h"

#include <utility>

#include "bench/files/regions.h"
#include "bench/files/yaml_text.h"
#include "bench/rigs/camera/camera.h"

namespace tachproof {
namespace {

// The regions are read when the rig is made: a rig may be checked before it is taught.
CameraSettings read_camera(Mapping& m, const std::filesystem::path& folder, ErrorList& errors) {
  CameraSettings camera;
  std::string clip, device, regions;
  m.text("clip", clip, Need::may);
  m.text("device", device, Need::may);
  if (m.has("clip") == m.has("device"))
    errors.add(m.at(), m.has("clip") ? "a clip and a device" : "neither a clip nor a device",
               "one of the two");
  camera.live = m.has("device");
  camera.from = camera.live ? device : (folder / clip).string();
  if (m.text("regions", regions, Need::must)) camera.regions = (folder / regions).string();
  m.text("sync", camera.sync, Need::may);
  m.number("fps", camera.fps, Range{1, 1000}, Need::may);
  m.number("exposure_ms", camera.exposure_ms, Range{0, 1000, true}, Need::may);
  m.number("readout_ms", camera.readout_ms, Range{0, 1000}, Need::may);
  m.number("gain", camera.gain, Range{0, 10'000}, Need::may);
  double tone_percent = 100 * camera.tone;
  m.number("tone_percent", tone_percent, Range{0, 50}, Need::may);
  camera.tone = tone_percent / 100;
  if (const YamlNode* block = m.any("stamp_delay_ms", Need::may)) {
    camera.stamp_delay = CameraSettings::Delay{};
    Mapping delay(*block, errors, "a stamp's delay");
    delay.milliseconds("from", camera.stamp_delay->from, Range{-1000, 1000}, Need::must);
    delay.milliseconds("to", camera.stamp_delay->to, Range{-1000, 1000}, Need::must);
    delay.finish();
    if (camera.stamp_delay->from > camera.stamp_delay->to)
      errors.add(block->at, "'from' is above 'to'", "from the least to the most");
    if (!camera.live)
      errors.add(block->at, "'stamp_delay_ms' of a clip",
                 "leave it out: only a device's frames are stamped by the host");
  }
  return camera;
}

std::string camera_text(const CameraSettings& camera) {
  std::string text =
      rig_line(camera.live ? "device" : "clip", yaml_word(camera.from)) +
      rig_line("regions", yaml_word(camera.regions), "where the lamps are: from `tachproof teach`") +
      rig_line("sync", yaml_word(camera.sync), "the action that flashes the sync lamp");
  if (camera.fps > 0) text += rig_line("fps", rig_number(camera.fps));
  if (camera.exposure_ms > 0)
    text += rig_line("exposure_ms", rig_number(camera.exposure_ms));
  else
    text +=
        "  # exposure_ms: 5 # known, it makes instants more certain; short enough that lamps keep colour\n";
  if (camera.readout_ms >= 0)
    text += rig_line("readout_ms", rig_number(camera.readout_ms));
  else
    text += "  # readout_ms: 12 # from the first row of a frame to the last\n";
  if (camera.gain >= 0) text += rig_line("gain", rig_number(camera.gain));
  if (camera.tone != CameraSettings().tone) text += rig_line("tone_percent", rig_number(100 * camera.tone));
  return text;
}

void refuse_clip(const RigPlan& plan) {
  if (!plan.rig.watch.camera.live)
    refuse_watch(plan, "a camera's clip beside a '" + plan.rig.source.kind +
                           "' source: what it shows was played before; source must be {kind: simulated}");
}

class CameraWatchKind : public WatchKind {
 public:
  std::string word() const override { return "camera"; }
  std::string about() const override { return "no wires: a camera that is taught where the lamps are"; }
  bool goes_beside(SourceClock) const override { return true; }
  bool films() const override { return true; }

  void read(Mapping& keys, const RigReading& reading, RigFile::WatchPart& watch,
            ErrorList& errors) const override {
    watch.camera = read_camera(keys, reading.folder, errors);
  }
  std::string text(const RigFile::WatchPart& watch) const override { return camera_text(watch.camera); }

  Channels watched(const RigPlan& plan) const override {
    Channels watched = 0;
    for (const std::vector<Channels>& lamp : resolve(load_regions(plan.rig.watch.camera.regions), plan.gauge))
      for (const Channels channel : lamp) watched |= channel;
    return watched;
  }

  WatcherTiming states(const RigFile& rig, SourceClock beside, const WatcherTiming& stated) const override {
    WatcherTiming due = stated;
    due.time_by = beside == SourceClock::host                   ? TimeRelation::host_clock
                  : load_regions(rig.watch.camera.regions).sync ? TimeRelation::sync_lamp
                                                                : TimeRelation::lamp_changes;
    return due;
  }

  Rig beside_own_clock(const RigPlan& plan, const OpenOwnRig& open) const override {
    refuse_clip(plan);
    return camera_rig(plan.rig.watch.camera, plan.gauge, open().source);
  }
  std::unique_ptr<Watcher> by_host_clock(const RigPlan& plan, const HostBench& bench) const override {
    refuse_clip(plan);
    return camera_by_host_clock(plan.rig.watch.camera, plan.gauge, bench.zero, bench.open().attend);
  }
  Rig in_virtual_time(const RigPlan& plan) const override {
    if (plan.rig.watch.camera.live)
      refuse_watch(plan, "a camera's device beside a '" + plan.rig.source.kind +
                             "' source: nothing would play to the unit; source must be {kind: board} or "
                             "{kind: scpi}");
    return camera_rig(plan.rig.watch.camera, plan.gauge, nullptr);
  }
};

}  // namespace

const WatchKind& camera_watch_kind() {
  static const CameraWatchKind kind;
  return kind;
}

}  // namespace tachproof

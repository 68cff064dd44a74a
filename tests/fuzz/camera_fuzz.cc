// Any bytes as what a camera's program says, or a run folder's readings.txt: lamp changes in time
// order, or a RigError. In the three ways in which a clip's time becomes the run's.
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/camera/camera.h"
#include "tests/fuzz/fuzz.h"

namespace {

using namespace tachproof;

constexpr const char* lamps = R"(format: 1
kind: regions
frame: {width: 640, height: 480}
dial: {reference: dial.png, within: 12, patches: [[10, 10], [100, 10], [10, 100]]}
lamps:
  west:
    at: {x: 120, y: 40, radius: 10}
    dark: {core: [0.01, 0.01, 0.01], rim: [0.01, 0.01, 0.01]}
    colours:
      cyan: {core: [0.1, 0.4, 0.4], halo: [0.05, 0.2, 0.2], rim: 0.08}
      violet: {core: [0.3, 0.1, 0.4], halo: [0.15, 0.05, 0.2], rim: 0.08}
  east:
    at: {x: 320, y: 200, radius: 10}
    dark: {core: [0.01, 0.01, 0.01], rim: [0.01, 0.01, 0.01]}
    colours:
      cyan: {core: [0.1, 0.4, 0.4], halo: [0.05, 0.2, 0.2], rim: 0.08}
)";
constexpr const char* sync_lamp = R"(sync:
  at: {x: 600, y: 400, radius: 10}
  dark: {core: [0.01, 0.01, 0.01], rim: [0.01, 0.01, 0.01]}
  colours:
    lit: {core: [0.4, 0.4, 0.4], halo: [0.2, 0.2, 0.2], rim: 0.08}
)";

Gauge two_lamps() {
  Gauge gauge;
  gauge.name = "Moraine";
  gauge.pulses_per_rev = 2;
  gauge.lamps = {{"west", {"cyan", "violet"}}, {"east", {"cyan"}}};
  gauge.windows = {{"clear", 0, {}},
                   {"near", 3000, {.steady = 1, .blinking = 0}},
                   {"held", 3100, {.steady = 5, .blinking = 0}},
                   {"above", 3200, {.steady = 0, .blinking = 2}}};
  gauge.deadband = {5, Sits::below};
  gauge.blink = Blink{5, 0.5};
  gauge.tolerance.rpm = 3;
  gauge.tolerance.response_to = 100 * ns_per_ms;
  return gauge;
}

class Lines : public CameraLines {
 public:
  explicit Lines(std::string_view left) : left_(left) {}
  std::optional<std::string> line(std::chrono::milliseconds) override {
    if (left_.empty()) return "end";
    const std::size_t length = std::min(left_.find('\n'), left_.size());
    std::string line(left_.substr(0, length));
    left_.remove_prefix(std::min(length + 1, left_.size()));
    return line;
  }

 private:
  std::string_view left_;
};

CameraSettings clip_with(bool sync) {
  static const std::string regions = fuzz::file_with(lamps, "regions.yaml").string();
  static const std::string with_sync =
      fuzz::file_with(std::string(lamps) + sync_lamp, "regions-and-sync.yaml").string();
  CameraSettings camera;
  camera.from = "clip.mkv";
  camera.regions = sync ? with_sync : regions;
  camera.exposure_ms = 4;
  return camera;
}

void watch(Watcher& watcher, Nanos duration, Channels all) {
  std::vector<LampEvent> events;
  watcher.begin();
  for (Nanos until = duration / 4;; until += duration / 4) {
    const Seen seen = watcher.collect(until, events);
    fuzz::require(seen.until <= until && (seen.unsure_blinks & ~all) == 0);
    fuzz::require(seen.lost == 0 || !seen.lost_why.empty());
    if (until >= duration) break;
  }
  Nanos last = 0;
  for (const LampEvent& event : events) {
    fuzz::require(event.at >= last && (event.lit & ~all) == 0);
    last = event.at;
  }
}

// By the sync lamp, or by the first and last change.
void filmed(std::string_view said, bool sync) {
  const Gauge gauge = two_lamps();
  const CameraSettings camera = clip_with(sync);
  Rig rig = camera_rig(camera, gauge, nullptr,
                       [&](const std::vector<std::string>&) { return std::make_unique<Lines>(said); });
  const std::vector<Step> steps{Press{camera.sync, 200 * ns_per_ms},
                                Hold{2900, ns_per_s},
                                RampByRate{3300, 400},
                                Hold{3300, ns_per_s},
                                RampByRate{2900, 400},
                                Hold{2900, ns_per_s}};
  const Profile profile(steps);
  const Noise silence;
  if (rig.source->cannot_play({profile, gauge.pulses_per_rev, silence, false})) std::abort();
  rig.source->press(Press{camera.sync, 200 * ns_per_ms}, 0);
  watch(*rig.watcher, profile.duration(), gauge.all_channels());
}

void by_the_hosts_clock(std::string_view said) {
  const Gauge gauge = two_lamps();
  const RunZero zero = std::make_shared<std::optional<Nanos>>(Nanos{0});
  const std::unique_ptr<Watcher> watcher = camera_by_host_clock(
      clip_with(false), gauge, zero, [] { return std::optional<Nanos>(); },
      [&](const std::vector<std::string>&) { return std::make_unique<Lines>(said); });
  watch(*watcher, 5 * ns_per_s, gauge.all_channels());
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view said = fuzz::text_of(data, size);
  for (const bool sync : {true, false}) {
    try {
      filmed(said, sync);
    } catch (const RigError& e) {
      fuzz::require_fit_for_a_line(e.what());
    }
  }
  try {
    by_the_hosts_clock(said);
  } catch (const RigError& e) {
    fuzz::require_fit_for_a_line(e.what());
  }
  return 0;
}

#include "bench/rigs/camera/camera.h"

#include <utility>

#include "bench/rigs/camera/camera_clock.h"
#include "bench/rigs/camera/camera_watcher.h"

namespace tachproof {

Rig camera_rig(const CameraSettings& settings, const Gauge& gauge, std::unique_ptr<Source> source,
               const OpenCamera& open) {
  const auto marks = std::make_shared<PlayedMarks>();
  Attend attend;
  if (settings.live) attend = [at = source.get()] { return at->attend(); };
  auto watcher = std::make_unique<CameraWatcher>(settings, gauge, marks, nullptr, std::move(attend), open);
  const WatcherFacts facts = watcher->facts();
  std::optional<WithoutSync> without_sync;
  if (facts.time_by == TimeRelation::lamp_changes) {
    if (settings.live)
      throw FileErrors({{settings.regions, 0, 0,
                         "no sync lamp was taught, and only its flashes place a camera's frames in a board's "
                         "run: teach again with it in view"}});
    without_sync = {gauge, facts.wired};
  }
  return {marking_source(std::move(source), settings.sync, std::move(without_sync), marks),
          std::move(watcher)};
}

std::unique_ptr<CameraLines> open_camera_program(const std::vector<std::string>& words) {
  return std::make_unique<CameraProcess>(words);
}

std::unique_ptr<Watcher> camera_by_host_clock(const CameraSettings& settings, const Gauge& gauge,
                                              RunZero zero, Attend attend, const OpenCamera& open) {
  return std::make_unique<CameraWatcher>(settings, gauge, std::make_shared<PlayedMarks>(), std::move(zero),
                                         std::move(attend), open);
}

}  // namespace tachproof

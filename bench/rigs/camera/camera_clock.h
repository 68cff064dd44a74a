// From the camera's time to the run's.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bench/rigs/rig.h"
#include "core/camera/lamp_frames.h"
#include "core/camera/run_ends.h"
#include "core/camera/sync_clock.h"

namespace tachproof {

// What the source's side knows of the run, for the watcher.
struct PlayedMarks {
  SyncClock clock;                // flashes as they are played
  std::optional<RunEnds> ends;    // beside lamp_changes, once the profile is known
  std::optional<Nanos> duration;  // of the profile, likewise
};

// The source of a camera's rig; beside a clip, where it has been played, `source`
// is null. Takes down flashes of `sync` on their way, or for `without_sync` the
// first and last change that the profile demands of `gauge`'s `wired` channels.
struct WithoutSync {
  Gauge gauge;
  Channels wired = 0;
};
std::unique_ptr<Source> marking_source(std::unique_ptr<Source> source, std::string sync,
                                       std::optional<WithoutSync> without_sync,
                                       std::shared_ptr<PlayedMarks> marks);

// Lays a whole clip's changes on the run by its first and its last. Empty, or
// sentences: why they do not fit, and what to do. `moves[i]`: the channels of lamp i.
// `period`: of the clip's frames, as stated.
std::string place_by_ends(const std::vector<ChangeSpan>& changes, const std::vector<Channels>& moves,
                          Nanos period, PlayedMarks& marks);

}  // namespace tachproof

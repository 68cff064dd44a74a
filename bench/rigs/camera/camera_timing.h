// What a camera's frames leave open of when a lamp changed: bounds, in time.
#pragma once

#include <optional>

#include "bench/files/files.h"
#include "bench/files/regions.h"
#include "core/base/time.h"
#include "core/camera/run_ends.h"
#include "core/judge/time_relation.h"

namespace tachproof {

class CameraTiming {
 public:
  // `period`: of the frames. `ends`: beside lamp_changes, what the clock is told by.
  CameraTiming(const CameraSettings& settings, const Regions& regions, Nanos period, TimeRelation by,
               const std::optional<RunEnds>& ends = std::nullopt);

  // From the last frame with the old state to the first with the new one, at worst.
  Nanos widest_change() const;
  Nanos exposure() const;
  Nanos exposure_doubt() const;     // a change within an exposure is seen in it or in the next
  Nanos readout(double row) const;  // of a row, after the frame's stamp
  Nanos readout_doubt() const;
  // Of run time less camera time: the same for all changes, but for drift.
  Nanos most_offset() const;
  // How much later than the middle of the first row's exposure the stamp is.
  CameraSettings::Delay stamp_delay() const;

 private:
  double readout_ns() const;

  const CameraSettings& settings_;
  const Regions& regions_;
  Nanos period_;
  TimeRelation by_;
  Nanos ends_ = 0;  // half of what the first or last change leaves open
};

}  // namespace tachproof

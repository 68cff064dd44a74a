// What a camera's frames leave open of when a lamp changed: bounds, in time.
#pragma once

#include <optional>

#include "bench/files/files.h"
#include "bench/files/regions.h"
#include "core/base/time.h"
#include "core/camera/change_dating.h"
#include "core/camera/run_ends.h"
#include "core/judge/result.h"
#include "core/judge/time_relation.h"

namespace tachproof {

class CameraTiming {
 public:
  // `period`: of the frames. `ends`: beside lamp_changes, what sets the clock.
  CameraTiming(const CameraSettings& settings, const Regions& regions, Nanos period, TimeRelation by,
               const std::optional<RunEnds>& ends = std::nullopt);

  // From the last frame with the old state to the first with the new one, at worst.
  Nanos widest_change() const;
  Nanos resolution() const;  // of changes, with the exposures of both
  Nanos exposure() const;    // unknown: the middle of what it can be
  ExposureBounds exposure_within() const;
  Nanos readout(double row) const;               // of a row, after the frame's stamp
  Nanos own_rows(const LampRegion& lamp) const;  // half the time in which a lamp's rows are read
  Nanos readout_doubt() const;                   // from one lamp to another
  // Of run time less camera time, before anything was seen: the same for all changes, but for drift.
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

// How well changes were dated: the widest of their spans, and the widest of what was open of the
// clock when they were. Bounds become standard uncertainties as half-widths of rectangles (GUM 4.3.7).
class StampsSeen {
 public:
  // Both half-widths.
  void add(Nanos span, Nanos offset);
  // `rows`: half-width, of what is not known of the rows' times; the same for all changes of a lamp.
  std::optional<StampTimes> times(Nanos rows) const;  // nothing before the first change

 private:
  bool any_ = false;
  Nanos span_ = 0, offset_ = 0;
};

}  // namespace tachproof

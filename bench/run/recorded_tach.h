// The tach channel of a recording, from its changes to rpm: contact bounce is left out, and the pulses
// that are left are followed. Both passes over a recording go through this, so that they see the same.
#pragma once

#include <vector>

#include "core/gauge/gauge.h"
#include "core/recording/contact_bounce.h"
#include "core/recording/rpm_track.h"

namespace tachproof {

class RecordedTach {
 public:
  // `resolution`: of the recording.
  RecordedTach(const Gauge& gauge, Nanos resolution)
      : bounce_(gauge.pulses_per_rev), track_(setup_of(gauge, resolution)) {}

  // The pulses among them; nothing else comes before `until`.
  std::vector<Nanos> add(const std::vector<LineChange>& changes, Nanos until) {
    for (const LineChange& change : changes) bounce_.change(change);
    bounce_.seen_until(until);
    return follow();
  }
  std::vector<Nanos> finish(Nanos until) {
    bounce_.finish();
    std::vector<Nanos> pulses = follow();
    track_.finish(until);
    return pulses;
  }
  RpmTrack& track() { return track_; }
  const RpmTrack& track() const { return track_; }
  const ContactBounce& bounce() const { return bounce_; }
  std::vector<Nanos> take_bounced() { return bounce_.take_bounced(); }

 private:
  static RpmTrack::Setup setup_of(const Gauge& gauge, Nanos resolution) {
    RpmTrack::Setup setup;
    setup.pulses_per_rev = gauge.pulses_per_rev;
    setup.resolution = resolution;
    if (gauge.tolerance.rpm > 0) setup.tolerance_rpm = gauge.tolerance.rpm;
    return setup;
  }
  std::vector<Nanos> follow() {
    std::vector<Nanos> pulses = bounce_.take();
    for (const Nanos pulse : pulses) track_.edge(pulse);
    return pulses;
  }

  ContactBounce bounce_;
  RpmTrack track_;
};

}  // namespace tachproof

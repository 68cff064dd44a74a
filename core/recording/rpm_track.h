// rpm as a function of time, recovered from a recorded tach signal.
//
// The speed at the middle of a span of n pulses is n pulses over the span's
// time: exact for any steady ramp, and without lag. n is a whole number of
// revolutions where that fits, so that a firing pattern cancels, and large
// enough for the recording's resolution. Lines between these midpoints are the
// rpm. Where the speed jumps, the lines end: both sides are continued into the
// pulse interval in which it happened, and the break is put where the part
// before it and the part after it add up to one pulse.
//
//     RpmTrack track({.pulses_per_rev = 3, .resolution = 100, .tolerance_rpm = 3});
//     for (Nanos at : edges) { track.edge(at); use(track.take()); }
//     track.finish(end);
//     use(track.take());
//
// Constant memory; what is given out lags a few spans behind the edges.
#pragma once

#include <memory>
#include <vector>

#include "core/base/time.h"
#include "core/signal/profile.h"

namespace tachproof {

// A stretch in which the signal cannot say what the engine did.
struct SignalGap {
  enum class Kind { lost, missing, doubled } kind = Kind::lost;
  Nanos from = 0;
  Nanos to = 0;
  bool operator==(const SignalGap&) const = default;
};

class RpmTrack {
 public:
  struct Setup {
    double pulses_per_rev = 1;  // > 0, up to 60
    Nanos resolution = 1;       // of the edges' instants
    double tolerance_rpm = 3;   // what the rpm is wanted for: aim at a sixth of it
  };
  // Throws std::invalid_argument.
  explicit RpmTrack(const Setup& setup);
  ~RpmTrack();
  RpmTrack(RpmTrack&&) noexcept;
  RpmTrack& operator=(RpmTrack&&) noexcept;

  void edge(Nanos at);  // active edges, each later than the one before
  // Nothing more comes; the recording lasts until `until`.
  void finish(Nanos until);

  // What has become certain since the last take. Segments adjoin from 0 on,
  // constant or linear. Before the first edge the rpm is the first one known,
  // or 0 when that edge is far away; without pulses for 0.5 s and 3 periods
  // it is 0. Both are reported as `lost`.
  struct Decided {
    std::vector<Segment> segments;
    std::vector<SignalGap> gaps;
    Nanos known_until = 0;
  };
  Decided take();

  // Of the rpm at any instant further than `longest_span` from a jump or a corner, the
  // largest so far: resolution and the scatter seen between neighbouring spans. (Where
  // most of the recording is not straight for that long, of the spans as they are, at
  // the end of a piece, where it is largest.) Nearer, up to a sixth of the tolerance. A corner between two
  // slopes is rounded off by up to a sixth of the change of slope times the span, a wave by up to 0.08 of its
  // second derivative times the span squared; of two jumps within two spans of each other, or of the signal's
  // start or end, the smaller is rounded off likewise.
  double standard_uncertainty_rpm() const;

  // From what has been given out, as far back as `kept`; 0 before the start.
  double rpm_at(Nanos t) const;
  double slope_at(Nanos t) const;
  static constexpr Nanos kept = 5 * ns_per_s;

  static constexpr Nanos longest_span = 40 * ns_per_ms;  // or 2 pulses

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tachproof

// The profile's phase, in pulses, and the instants at which it is reached.
//
// A profile is walked piece by piece. Within a piece one formula gives the
// phase gained since the piece's start; sines are cut at whole periods so that
// their formula never sees a large argument.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "core/base/time.h"
#include "core/base/wide.h"
#include "core/signal/profile.h"

namespace tachproof {

// One segment, or some whole periods of a sine. Phases are counted from the
// piece's start, 0 <= phase <= pulses.
class Piece {
 public:
  Piece() = default;
  // `lasts_ns` is exact where the segment's own lasts_s is rounded.
  Piece(const Segment& segment, double pulses_per_rev, const Instant& start, const Wide& lasts_ns);

  const Wide& pulses() const { return pulses_; }
  double rpm(double s) const { return segment_->rpm(s); }  // s from the piece's start

  // Where a phase is reached. `near_s`: seconds from the piece's start of an
  // earlier phase, 0 when there is none; it only makes sines faster.
  struct Reached {
    Instant at;
    double s = 0;  // from the piece's start
  };
  Reached at(const Wide& phase, double near_s) const;

  // Phases first, first + 1, ...; out.size() <= most_in_block().
  void fill(const Wide& first, std::span<Nanos> out) const;
  std::size_t most_in_block() const;

 private:
  struct Offset {
    Wide ns;
    double hz = 0;  // linear: the speed there
  };
  Offset linear_offset(const Wide& phase) const;
  void fill_sine(const Wide& first, std::span<Nanos> out) const;
  // Edges from number `from` on, which is at from_s.
  void fill_sine_one_by_one(const Wide& first, double from_s, std::size_t from, std::span<Nanos> out) const;
  // Not before `low_s`; `guess_s` only makes it faster.
  double sine_offset_s(double phase, double low_s, double guess_s) const;

  const Segment* segment_ = nullptr;
  Instant start_;
  Wide lasts_ns_;
  Wide pulses_;
  Wide period_ns_;       // constant, above 0 rpm
  Wide slow_hz_;         // linear: at its slower end
  Wide hz_per_s_;        // linear: how fast the speed grows from there
  double mean_hz_ = 0;   // sine
  double swing_hz_ = 0;  // sine
};

// All pieces of a profile, in order. The profile must outlive it.
class Pieces {
 public:
  Pieces(const Profile& profile, double pulses_per_rev)
      : profile_(&profile), pulses_per_rev_(pulses_per_rev) {}
  bool next(Piece& piece);  // false: the profile has ended

 private:
  const Profile* profile_;
  double pulses_per_rev_;
  std::size_t segment_ = 0;
  double periods_done_ = 0;  // of a sine segment
};

// The due instants: where the phase reaches 1, 2, 3, ...
class DuePulses {
 public:
  DuePulses(const Profile& profile, double pulses_per_rev) : pieces_(profile, pulses_per_rev) {}
  // The next block, at the front of `out`, which has room for edges_block; how
  // many there are; 0 when the profile has ended.
  std::size_t next_block(std::span<Nanos> out);

 private:
  Pieces pieces_;
  Piece piece_;
  Wide first_;             // phase within the piece of the next pulse
  std::int64_t left_ = 0;  // pulses still to come from the piece
  Wide carry_;             // phase at the piece's end since its last pulse
};

}  // namespace tachproof

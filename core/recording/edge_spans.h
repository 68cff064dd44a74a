// The edges of a run of a tach signal, and the speed over spans of them: the parts of an rpm track that look
// back only. Edges and spans are counted in pulses from the signal's start.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>

#include "core/base/time.h"
#include "core/recording/rpm_track.h"

namespace tachproof {

// The speed over a span, at its middle.
struct SpeedNode {
  double at = 0;  // ns
  double rpm = 0;
};

struct SpeedLine {
  SpeedNode node;
  double slope = 0;               // rpm per ns
  double rpm_at(double t) const;  // not below 0
};
// A span of two neighbours, continued.
SpeedLine line_through(const SpeedNode& a, const SpeedNode& b, const SpeedNode& through);

// At the end of a piece the speed is continued by half a span: 1.5 times the
// last span less 0.5 times the one before, sqrt(1.5^2 + 0.5^2).
inline constexpr double end_factor = 1.5811;

class EdgeSpans {
 protected:
  using Index = std::int64_t;
  using Node = SpeedNode;
  using Line = SpeedLine;

  explicit EdgeSpans(const RpmTrack::Setup& setup);

  Index count() const { return base_ + static_cast<Index>(edges_.size()); }
  Nanos at(Index i) const { return edges_[static_cast<std::size_t>(i - base_)]; }
  Node node(Index from, Index to) const;
  // Of a span's rpm: the difference of two rounded instants.
  double quantisation_rpm(const Node& n, Index pulses) const;
  // How many pulses a span takes around edge i, from the pulses just before it, or after it.
  Index span_around(Index i) const;
  // The speed just before edge i, of the run that it ends; or just after.
  std::optional<Line> line_before(Index i, Index span) const;
  std::optional<Line> line_after(Index i, Index span) const;
  // How far, in pulses, a span may be made longer at both ends.
  Index room_beside(Index from, Index n) const;
  Index whole_turns(Index pulses) const { return pulses / revolution_ * revolution_; }
  // A line explains the speed from edge to edge: the middle of it is where its
  // two ends say, as well as they are known.
  bool straight(Index from, Index to, double scatter_of_one_ns) const;

  RpmTrack::Setup setup_;
  Index revolution_ = 0;     // pulses in the fewest whole revolutions
  std::deque<Nanos> edges_;  // from edge number base_ on
  Index base_ = 0;
  Index run_ = 0;  // the first edge since the last break

 private:
  Index span_for(double period_ns) const;  // where a pulse takes this long
};

}  // namespace tachproof

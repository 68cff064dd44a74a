// What the engine does: rpm as a function of time, and the tach pulses that it means.
//
// Told twice, from one list of moves: in seconds for the study's own physics, and as the steps of a
// scenario for the program.
#pragma once

#include <vector>

#include "core/gauge/gauge.h"
#include "core/signal/profile.h"
#include "tests/study/draw.h"

namespace tachproof::study {

enum class RoadKind {
  acceptance,  // every boundary both ways at two rates, rests, fast ramps, jumps
  steps_only,
  slow_sweep,  // 40 rpm/s up and down
  short_one,   // the first seconds of an acceptance
  middle,      // begins somewhere in an acceptance
  partial,     // only some of the boundaries
};
inline constexpr int road_kinds = 6;
const char* word(RoadKind kind);

class Road {
 public:
  struct Piece {
    double from_s = 0, until_s = 0;
    double rpm = 0, slope = 0;  // at from_s; rpm per second
  };

  void hold(double lasts_s);
  void hold_at(double rpm, double lasts_s);  // jumps there
  void ramp(double to_rpm, double rpm_per_s);
  // What lies before `from_s` or after `until_s` is left out; times begin at 0 again.
  void cut(double from_s, double until_s);

  // Slow wander of the engine, a sum of three waves: standard deviation, typical time.
  void wander(double rpm, double time_s, Draw& draw);
  double wander_rpm() const { return wander_rpm_; }

  double rpm_at(double s) const;  // before 0: as at 0; after the end: as at the end
  double duration_s() const { return pieces_.empty() ? 0 : pieces_.back().until_s; }
  double lowest() const;
  double highest() const;
  const std::vector<Piece>& pieces() const { return pieces_; }

  // Instants of the pulses in [from_s, duration]; from_s may be below 0.
  std::vector<double> pulses(double pulses_per_rev, double from_s, double phase) const;
  std::vector<Step> steps() const;

 private:
  struct Wave {
    double rpm = 0, hz = 0, phase = 0;
  };
  double wandering(double s) const;
  std::vector<Piece> pieces_;
  std::vector<Wave> waves_;
  double wander_rpm_ = 0;
};

Road draw_road(const Gauge& gauge, RoadKind kind, Draw& draw);

}  // namespace tachproof::study

// A run in samples: the rpm that the unit believed, the lamps that it showed. Cheap to hold
// against a thousand gauges, to find the few that are worth judging again.
//
// What it says is a hint, never a verdict: the response is taken as one number, and tolerances
// are not looked at. Where a unit that was pressed had time to answer it says nothing.
#pragma once

#include <utility>
#include <vector>

#include "core/base/verdict.h"
#include "core/cause/evidence_log.h"
#include "core/gauge/gauge.h"

namespace tachproof {

class Road {
 public:
  // What is left out of the evidence, or taken to be otherwise.
  struct View {
    Channels ignored = 0;                                           // say nothing
    const std::vector<std::pair<Nanos, Nanos>>* excused = nullptr;  // disturbed as well; null: nothing
    const std::vector<Segment>* believed = nullptr;  // the rpm in place of what was played; null: as played
    Nanos every = 1;                                 // takes one sample of so many
  };
  // `states`: of a unit that was pressed; all gauges that are asked about are then followed through them.
  Road(const EvidenceLog& log, const Gauge& gauge, Nanos response, const std::vector<StateResult>& states,
       const View& view);
  Road(const EvidenceLog& log, const Gauge& gauge, Nanos response) : Road(log, gauge, response, {}, View()) {}

  // What was shown in a window, as some gauge places its boundaries.
  struct Shown {
    std::vector<std::pair<Channels, double>> pictures;  // lit channels, for how many s
    Channels blinked = 0;                               // went on and off there
    double watched_s = 0;                               // long enough to say so
    double rested_s() const;
    Channels usual() const;  // the picture that was shown longest
  };
  std::vector<Shown> shown(const Gauge& gauge) const;

  // For how many s the lamps were not as this gauge has them.
  double wrong_s(const Gauge& gauge) const { return wrong_s(shown(gauge), gauge); }
  // The same where the gauge differs in its cues alone from that of `shown`.
  double wrong_s(const std::vector<Shown>& shown, const Gauge& gauge) const;

  // For how many s they were not, had the unit answered so much later than `response()`; blinks aside. By one
  // sample of `every`.
  std::vector<double> wrong_s_later(const Gauge& gauge, const std::vector<Nanos>& later,
                                    std::size_t every) const;

  // The lamps went from the picture of one window to that of another, on a slope.
  struct Move {
    std::size_t boundary = 0;
    Direction direction = Direction::rising;
    double rpm = 0;
    double rate = 0;    // rpm per s, above 0
    bool alone = true;  // between neighbours; false: one of several boundaries in one go
  };
  // One lamp change may be a move at several boundaries, where pictures repeat.
  std::vector<Move> moves(const Gauge& gauge) const;

  // Where the lamps went to and fro between neighbours on one slope: over how many rpm, as a rule.
  double chatter_rpm(const Gauge& gauge) const;

  // A stretch in which the lamps were not as this gauge has them. Short ones are left out.
  struct Wrong {
    Nanos from = 0, to = 0;
    std::size_t window = 0;    // that should be shown at its beginning
    bool changed = false;      // the lamps changed in it
    Channels lit_at_from = 0;  // lit at its beginning,
    Channels ever_lit = 0;     // and at any time of it
  };
  std::vector<Wrong> wrong(const Gauge& gauge, Nanos least) const;

  // The lamps and, at each, the rpm of a response before.
  struct Sample {
    Nanos at = 0;
    double rpm = 0, slope = 0;
    Channels lit = 0;
    bool disturbed = false;
    std::size_t state = 0;
  };
  const std::vector<Sample>& samples() const { return samples_; }
  Nanos step() const { return step_; }
  Nanos response() const { return response_; }
  bool pressed() const { return states_.size() > 1; }
  // The lamps are as this window has them, in one of the two phases of a blink.
  bool right(const Gauge& gauge, std::size_t window, Channels lit) const;

  Channels ever_lit() const;
  Channels wired() const { return wired_; }
  const std::vector<LampEvent>& lamps() const { return lamps_; }
  Nanos until() const { return until_; }

 private:
  std::vector<Gauge> in_states(const Gauge& gauge) const;
  std::vector<std::size_t> windows(const Gauge& gauge) const;  // one for each sample
  void watch_blinks(const Gauge& gauge, const std::vector<std::size_t>& windows,
                    std::vector<Shown>& shown) const;

  Channels wired_;
  Nanos step_ = 0, until_ = 0, guard_ = 0, response_ = 0;
  double blink_hz_ = 0;
  std::vector<StateResult> states_;
  std::vector<Sample> samples_;
  std::vector<LampEvent> lamps_;  // without dimming
};

// Both show the same at every rpm, up and down, as far as `within_rpm`; blinks and responses too.
bool same_behaviour(const Gauge& a, const Gauge& b, double within_rpm);

}  // namespace tachproof

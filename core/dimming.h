// Takes PWM dimming out of raw lamp events: a lamp that is dimmed counts as
// lit, at a level.
//
// On-off-on counts as dimming when it is fast and regular: at least
// `least_hz`, and three periods in a row that agree within `agreement`. A lamp
// that chatters at an update rate below that, or irregularly, is passed on as
// it is: chatter must never look like dimming. 80 Hz is where most people stop
// seeing a light flicker directly (Lehman, Wilkins et al., "Proposing measures
// of flicker in the low frequencies for lighting applications").
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "core/gauge.h"
#include "core/result.h"
#include "core/timeline.h"

namespace tachproof {

class DimmingFilter {
 public:
  static constexpr double least_hz = 80;
  static constexpr double agreement = 0.2;

  // Raw events in time order; appends filtered ones to `out`, in time order.
  // Those of the last few periods are held back until `seen_until` or later
  // events settle them.
  void add(std::span<const LampEvent> events, std::vector<LampEvent>& out);
  void seen_until(Nanos until, std::vector<LampEvent>& out);
  // Nothing more will come: lets everything go.
  void finish(std::vector<LampEvent>& out);
  // Nothing before this is held back any more.
  Nanos settled_until() const { return settled_until_; }

  // Level and frequency of a channel's dimming; level 1 when it never was.
  struct Dimming {
    double level = 1;
    double hz = 0;
  };
  Dimming dimming(std::size_t channel) const;

 private:
  struct Edge {
    Nanos at = 0;
    bool on = false;
  };
  struct Channel {
    bool raw_on = false;
    bool dimmed = false;        // in a confirmed train of PWM periods
    std::vector<Edge> waiting;  // from the first undecided edge on, alternating
    Nanos last_rise = 0;
    Nanos period = 0;
    Nanos lit = 0, dimmed_for = 0;  // sums over confirmed periods
    std::uint64_t periods = 0;
  };
  struct Change {
    Nanos at = 0;
    std::uint32_t channel = 0;
    bool on = false;
  };

  void edge(std::uint32_t index, Nanos at, bool on);
  void time_out(std::uint32_t index, Nanos now);
  void let_go(Channel& channel, std::uint32_t index, std::size_t count);
  void release(Nanos until, std::vector<LampEvent>& out);

  std::array<Channel, max_channels> channels_;
  std::vector<Change> changes_;  // decided, not yet released
  Channels raw_ = 0, filtered_ = 0, waiting_ = 0;
  bool begun_ = false;
  Nanos now_ = 0, settled_until_ = 0;
};

}  // namespace tachproof

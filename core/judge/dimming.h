// Takes PWM dimming out of raw lamp events: a lamp that is dimmed counts as
// lit, at a level.
//
// On-off-on counts as dimming when it is fast and regular: at least
// `least_hz`, and three periods in a row that agree within `agreement`. Where a
// lamp is lit too shortly for that, its gaps count as dimming when they are as
// long as the last that did: the two cannot be distinguished. A lamp that
// chatters at an update rate below that, or irregularly, is passed on as it is:
// chatter must never look like dimming. 80 Hz is where most people stop seeing
// a light flicker directly (Lehman, Wilkins et al., "Proposing measures of
// flicker in the low frequencies for lighting applications").
//
// Before that, glitches are left out: pulses and gaps below 20 us that no lamp
// makes. Where this unit's dimming is known they are those below a fifth of its lit
// and of its dark time; before, those that come after twenty times their own length of
// rest, unless they are the eighth in a regular row that is lit (or dark) for a
// hundredth of the time: then they are dimming. Common practice, no published source.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/judge/timeline.h"

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
  // Nothing more will come: lets everything go, except the fall of a dimmed
  // lamp whose next pulse is not overdue.
  void finish(std::vector<LampEvent>& out);
  // Nothing before this is held back any more.
  Nanos settled_until() const { return settled_until_; }

  // Pulses and gaps that were left out as glitches.
  std::uint64_t glitches() const { return glitches_; }
  // The longest PWM period in force on any channel, as far as events have been added;
  // 0 when nothing is dimmed. A dimmed lamp is seen to come on at its first pulse and to go
  // out when the next is overdue or, where its last was cut short or it was lit for fewer
  // than three, at the end of that:
  // of two lamps that the unit switched at one instant, the dates may be this far apart,
  // and each is off by no more than this.
  Nanos slack() const;

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
    Nanos period = 0, gap = 0;      // of its last period of dimming
    Nanos lit = 0, dimmed_for = 0;  // sums over confirmed periods
    std::uint64_t periods = 0;
    Nanos in_force = 0;  // its period, until it is seen lit without a gap for long

    std::optional<Edge> fresh;  // may be the beginning of a glitch
    Nanos moved = 0;            // the last edge that was none
    Nanos last_glitch = 0, glitch_spacing = 0;
    int regular_glitches = 0;
  };
  struct Change {
    Nanos at = 0;
    std::uint32_t channel = 0;
    bool on = false;
  };

  std::size_t go_on(std::span<const LampEvent> events);
  void sift(std::uint32_t index, Nanos at, bool on);
  bool is_glitch(Channel& channel, Nanos width) const;
  void pass_fresh(std::uint32_t index);
  void time_passed(Nanos now);
  void edge(std::uint32_t index, Nanos at, bool on);
  static bool regular(const Channel& channel, bool by_rises);
  void begin_dimming(Channel& channel, std::uint32_t index, bool by_rises);
  void end_dimming(Channel& channel, std::uint32_t index, Nanos now);
  void time_out(std::uint32_t index, Nanos now);
  void let_go(Channel& channel, std::uint32_t index, std::size_t count);
  void release(Nanos until, std::vector<LampEvent>& out);

  std::array<Channel, max_channels> channels_;
  std::vector<Change> changes_;  // decided, not yet released
  Channels raw_ = 0, filtered_ = 0, waiting_ = 0, fresh_ = 0;
  Nanos gap_ = 0, lit_ = 0;  // of the last period of dimming, whichever lamp; 0: none yet
  std::uint64_t glitches_ = 0;
  bool begun_ = false;
  Nanos now_ = 0, settled_until_ = 0;
};

}  // namespace tachproof

// For every boundary: what was demanded beside what was seen.
//
// Between two instants at which the settings demand a side, a boundary is
// open: the unit may be on either. When it closes, the moves seen since then
// are matched with the move that was demanded, if one was.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "core/base/time.h"
#include "core/judge/expectation.h"

namespace tachproof {

struct Crossing {
  enum class Timing {
    inside,   // within earliest..latest
    early,    // before earliest, and it stayed
    late,     // after latest
    missing,  // not before the next demand, or the end
    hidden,   // no lamp had to change for it
    unseen    // nothing is known of it
  };
  ExpectedTransition demand;
  Timing timing = Timing::unseen;
  Nanos at = 0;  // when seen: inside, early, late
};

// Moves while a boundary was open, beyond those it needed.
struct Chatter {
  std::size_t boundary = 0;
  Nanos open_since = 0, open_until = 0;
  std::size_t moves = 0;    // all that were seen
  std::vector<Nanos> at;    // their instants (the first max_kept)
  bool demanded = false;    // one of the moves was
  bool in_passing = false;  // each was made while other boundaries were open as well
};

class Crossings {
 public:
  explicit Crossings(std::size_t boundaries) : tracks_(boundaries + 1) {}

  // The side that the settings demand before anything moves.
  void start(std::size_t boundary, bool demanded_above, bool seen_above);

  // All of one instant, in this order.
  void open(std::size_t boundary, Nanos at);
  // The shown window went from one to another. `silent`: no lamp moved for it. A move back
  // within `undone` of the move there makes both as if they had not been.
  void moved(std::size_t from_window, std::size_t to_window, Nanos at, bool silent, Nanos undone = 0);
  // `demand`: the move that had to be made meanwhile; null when none had to.
  void close(std::size_t boundary, Nanos at, bool demanded_above, const ExpectedTransition* demand);

  void finish(Nanos at);
  Nanos open_since(std::size_t boundary) const { return tracks_.at(boundary).open_since; }

  std::vector<Crossing> crossings;  // in the order in which they were decided
  std::vector<Chatter> chatter;     // taken by the judge after each close
  // On the wrong side before or after an open time that demanded no move, or
  // before one that did, and back again meanwhile.
  std::vector<Crossing> excursions;

  static constexpr std::size_t max_kept = 64;

 private:
  struct Track {
    bool above = false;           // as seen
    bool demanded_above = false;  // the last demand
    bool is_open = false;
    Nanos open_since = 0;
    Nanos last_move = 0;  // to the present side
    bool last_silent = true;
    bool out_before_open = false;  // on the other side when it opened
    Nanos out_since = 0;
    std::vector<Nanos> moves;  // visible ones, since it opened
    std::size_t move_count = 0;
    bool in_passing = true;
    Nanos first_to[2] = {-1, -1};  // first move to below / above since it opened
    std::optional<ExpectedTransition> overdue;
  };
  void move(std::size_t boundary, bool above, Nanos at, bool silent, Nanos undone);
  void decide(const ExpectedTransition& demand, Crossing::Timing timing, Nanos at);
  void settle_overdue(Track& track, Crossing::Timing timing, Nanos at);

  std::vector<Track> tracks_;
};

}  // namespace tachproof

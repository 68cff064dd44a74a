#include "core/judge/crossings.h"

#include "core/judge/settling.h"

namespace tachproof {

void Crossings::start(std::size_t boundary, bool demanded_above, bool seen_above) {
  tracks_.at(boundary).demanded_above = demanded_above;
  tracks_.at(boundary).above = seen_above;
}

void Crossings::open(std::size_t boundary, Nanos at) {
  Track& track = tracks_.at(boundary);
  if (track.overdue) settle_overdue(track, Crossing::Timing::missing, 0);
  track.is_open = true;
  track.open_since = at;
  track.out_before_open = track.above != track.demanded_above && !track.last_silent;
  track.out_since = track.last_move;
  track.moves.clear();
  track.move_count = 0;
  track.in_passing = true;
  track.first_to[0] = track.first_to[1] = -1;
}

void Crossings::moved(std::size_t from_window, std::size_t to_window, Nanos at, bool silent, Nanos undone) {
  for (std::size_t b = from_window + 1; b <= to_window; ++b) move(b, true, at, silent, undone);
  for (std::size_t b = from_window; b > to_window; --b) move(b, false, at, silent, undone);
}

void Crossings::move(std::size_t boundary, bool above, Nanos at, bool silent, Nanos undone) {
  Track& track = tracks_.at(boundary);
  const bool undoes = track.is_open && !silent && track.move_count > 0 &&
                      track.move_count == track.moves.size() && at - track.moves.back() < undone;
  track.above = above;
  track.last_move = at;
  track.last_silent = silent;
  if (!silent && undone == 0) track.in_passing = false;
  if (undoes) {
    if (track.first_to[!above] == track.moves.back()) track.first_to[!above] = -1;
    track.moves.pop_back();
    --track.move_count;
  } else if (track.is_open && !silent) {
    ++track.move_count;
    if (track.moves.size() < max_kept) track.moves.push_back(at);
    if (track.first_to[above] < 0) track.first_to[above] = at;
  }
  if (track.overdue && above == (track.overdue->direction == Direction::rising)) {
    // Where no lamp moved, they were wrong when it was due, and are right now for
    // another window only.
    const auto unmoved = at - track.overdue->latest < Settling::invisible ? Crossing::Timing::hidden
                                                                          : Crossing::Timing::missing;
    settle_overdue(track, silent ? unmoved : Crossing::Timing::late, at);
  }
}

// Filled in where it stays: a copy of what was written just before waits for
// those writes.
void Crossings::decide(const ExpectedTransition& demand, Crossing::Timing timing, Nanos at) {
  Crossing& crossing = crossings.emplace_back();
  crossing.demand = demand;
  crossing.timing = timing;
  crossing.at = at;
}

void Crossings::settle_overdue(Track& track, Crossing::Timing timing, Nanos at) {
  decide(*track.overdue, timing, at);
  track.overdue.reset();
}

void Crossings::close(std::size_t boundary, Nanos at, bool demanded_above, const ExpectedTransition* demand) {
  Track& track = tracks_.at(boundary);
  if (demand) {
    if (track.overdue) settle_overdue(track, Crossing::Timing::missing, 0);
    if (track.above != demanded_above) {
      track.overdue = *demand;
    } else if (track.first_to[demanded_above] >= 0) {
      decide(*demand, Crossing::Timing::inside, track.first_to[demanded_above]);
      // It had been there before it could be right, and had come back.
      if (track.out_before_open) excursions.push_back({*demand, Crossing::Timing::early, track.out_since});
    } else if (track.out_before_open) {
      decide(*demand, Crossing::Timing::early, track.out_since);
    } else {
      decide(*demand, Crossing::Timing::hidden, at);
    }
  } else if (track.out_before_open || track.above != demanded_above) {
    const bool early = track.out_before_open;
    ExpectedTransition none;
    none.boundary = boundary;
    none.direction = early ? (track.above ? Direction::rising : Direction::falling)
                           : (demanded_above ? Direction::rising : Direction::falling);
    none.earliest = none.nominal = track.open_since;
    none.latest = at;
    excursions.push_back(
        {none, early ? Crossing::Timing::early : Crossing::Timing::late, early ? track.out_since : at});
  }
  if (track.move_count > 1)
    chatter.push_back(
        {boundary, track.open_since, at, track.move_count, track.moves, demand != nullptr, track.in_passing});
  track.demanded_above = demanded_above;
  track.is_open = false;
}

void Crossings::finish(Nanos at) {
  for (std::size_t b = 1; b < tracks_.size(); ++b) {
    Track& track = tracks_[b];
    if (track.overdue) settle_overdue(track, Crossing::Timing::missing, at);
    // On the other side before that could be right, and the run ended before anything was demanded.
    if (track.is_open && track.out_before_open) {
      ExpectedTransition none;
      none.boundary = b;
      none.direction = track.demanded_above ? Direction::falling : Direction::rising;
      none.earliest = none.nominal = track.open_since;
      none.latest = at;
      excursions.push_back({none, Crossing::Timing::early, track.out_since});
    }
    if (track.is_open && track.move_count > 1)
      chatter.push_back({b, track.open_since, at, track.move_count, track.moves, false, track.in_passing});
  }
}

}  // namespace tachproof

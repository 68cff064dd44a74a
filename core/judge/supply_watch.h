// What a unit shows while its supply moves, and after it was outside what the gauge allows.
//
// Inside what the unit may be fed nothing is forgiven: it must show what the rpm asks for at every
// instant. From the first instant outside until it must be awake again it may be dark, greet, or be right.
// It is never wrong.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/disturbances.h"
#include "core/judge/judge_setup.h"
#include "core/judge/pictures.h"
#include "core/judge/result.h"
#include "core/judge/supply_move.h"
#include "core/judge/unit_state.h"
#include "core/signal/profile.h"

namespace tachproof {

class SupplyWatch {
 public:
  SupplyWatch(const Gauge& gauge, const JudgeSetup& setup, const SupplyMove& first);

  void moves(const SupplyMove& move);  // adjoining, or later, in time order
  bool dips() const { return outside_from_.has_value(); }
  bool is_back() const { return !moves_.back().awaited && (!dips() || back_at_.has_value()); }
  void done_by(Nanos by);                                    // the last move, by a person
  bool is_awaited() const { return moves_.back().awaited; }  // he has not said that it is done
  // From then on it must show what the rpm asks for, its voltage being what it is set to. Call only if it
  // is back.
  Nanos due() const;
  double volts() const { return moves_.back().supply.to_v; }

  void lamps(std::span<const LampEvent> events);  // in time order; the first says what was lit then

  struct Look {
    Nanos from = 0, judged_from = 0;     // between them nobody else looks
    Nanos until = 0;                     // the lamps were seen so far
    std::vector<UnitState> states = {};  // that it may be in; `must_be`: of them, the one that it must be in
    std::size_t must_be = 0;
    const std::vector<Segment>* rpm = nullptr;  // adjoining; from some time before `from`
    const Disturbances* disturbed = nullptr;    // then it may show anything
    bool was_alive = false;                     // it has shown something before
    std::optional<double> dark_at_v = {};       // it went dark before, at this voltage, and has stayed so
    bool told_dead = false;                     // and it has been said that it does not come back
  };
  struct Told {
    std::vector<PowerResult> rows = {};
    std::vector<Finding> findings = {};
    bool dark = false;                     // to the end, where a lamp had to be lit
    bool still_dark = false;               // as it was, where none had to be
    std::optional<double> dark_at_v = {};  // since it was fed this
    std::optional<Nanos> woke_late = {};   // when its lamps were lit, later than they had to be
  };
  Told finish(const Look& look);

 private:
  struct Allowed {
    Nanos from = 0;
    std::size_t lowest = 0, highest = 0;  // windows
  };
  using AllowedOfState = std::vector<Allowed>;
  struct Picture {
    Nanos from = 0, to = 0;
    Channels lit = 0;
  };

  AllowedOfState allowed_in(const UnitState& state, const Look& look) const;
  void take_pictures();
  void find_pictures(const Look& look);
  bool shows(std::size_t window, Channels lit) const;
  bool is_right(Nanos t, Channels lit, bool or_lower) const;
  bool is_right_in(const AllowedOfState& state, Nanos t, Channels lit, bool or_lower) const;
  bool must_light(Nanos t) const { return !is_right(t, 0, false); }
  bool must_light_in(Nanos from, Nanos to) const;
  bool was_out_in(Nanos from, Nanos to, const Look& look) const;
  bool is_greeting(Channels lit) const;
  bool may_be_out(Nanos t, const Look& look) const;
  double volts_at(Nanos t) const;
  void look_for_strange(const Look& look, Told& told);
  Nanos first_must_light(const Picture& picture) const;
  void say_dark(Nanos at, Told& told) const;
  void say_greeting(const Picture& picture, const Look& look, Told& told) const;
  void say_strange(const Picture& picture, Told& told) const;
  void say_woken(const Look& look, bool went_dark, Told& told) const;
  void say_dead(const Look& look, const Picture& last, Told& told) const;

  const Gauge gauge_;
  const JudgeSetup setup_;
  const Channels wired_;
  Pictures shown_;
  std::vector<LampEvent> events_;
  std::vector<SupplyMove> moves_;
  std::optional<Nanos> outside_from_, back_at_;  // at the earliest, at the latest
  Nanos back_width_ = 0;                         // it may be back so much sooner
  double furthest_v_ = not_measured;
  std::vector<Picture> pictures_;
  std::vector<AllowedOfState> allowed_;
  std::vector<Nanos> changes_;  // of what is allowed
};

}  // namespace tachproof

// Takes contact bounce out of a recorded tach line.
//
// No pulse of a gauge follows the one before sooner than a period at 20,000 rpm
// (Profile::max_rpm). Of that period half is the limit here, `closer_than`: an
// uneven firing pattern may halve a period, and both parts of a period cannot be
// shorter than that. Changes of the line that are closer together make one burst:
// - it leads from inactive to active: one pulse, at its first active edge;
// - back again: a pulse's end, whatever the line did meanwhile;
// - to the level that it began with: one narrow pulse.
// An active edge this close after a pulse is bounce too, however it came about.
// A burst that lasts for a whole period is cut there. Common practice, no
// published source.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "core/base/time.h"

namespace tachproof {

// The line is at this level from `at` on.
struct LineChange {
  Nanos at = 0;
  bool active = false;
  bool operator==(const LineChange&) const = default;
};

class ContactBounce {
 public:
  explicit ContactBounce(double pulses_per_rev);  // > 0; else std::invalid_argument

  void change(const LineChange& change);  // in time order, each to the other level
  void seen_until(Nanos until);           // no change before this is still to come
  void finish();                          // none comes any more

  std::vector<Nanos> take();  // the pulses since the last take, increasing
  // None of the pulses to come is before this.
  Nanos known_until() const { return burst_ ? burst_->from : seen_until_; }

  // One instant for each burst or pulse that had active edges left out, since the last take.
  std::vector<Nanos> take_bounced();

  std::uint64_t left_out() const { return left_out_; }  // active edges
  Nanos closer_than() const { return closer_than_; }

 private:
  struct Burst {
    Nanos from = 0, to = 0;
    bool began_active = false;
    std::uint64_t edges = 0;  // active ones
    Nanos first_edge = 0;
  };
  void close();

  Nanos closer_than_;
  bool active_ = false;
  std::optional<Burst> burst_;
  std::optional<Nanos> last_pulse_;
  std::vector<Nanos> pulses_, bounced_;
  std::uint64_t left_out_ = 0;
  Nanos seen_until_ = 0;
};

// A contact that bounces at more than one pulse in `usual_from` is a signal like any other,
// which a unit has to read: nothing is forgiven for it. Fewer than that are odd edges among
// good pulses, each of which may move a unit's reading for a moment.
inline constexpr std::uint64_t usual_from = 30;

}  // namespace tachproof

// A blink that frames cannot follow looks like a slow one: f' looks like f where
// f' is |k * fps +- f|. What distinguishes the two is the exposure: a lamp that
// changes within one is seen neither dark nor lit, and at f' it changes f' / f
// times as often. So frames are laid over one another by their phase at f'. Where
// that leaves frames that are dark or fully lit nearer to a change than an
// exposure allows, f' is excluded; so it is where dark and lit ones are mixed, as
// they are when frames come unevenly.
//
// The light of a lamp grows with the lit share x of the exposure, and never faster
// than before, because pixels clip one after the other: with dark 0, fully lit 1
// and `open` the share of light from pixels that are not clipped,
//   x <= light(x) <= 1 - open * (1 - x).
// That bounds the x for which a frame is neither.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/base/time.h"
#include "core/camera/lamp_colour.h"

namespace tachproof {

// What frames show of one lamp that goes on and off.
struct SeenBlink {
  double hz = 0;  // as it looks
  Nanos from = 0, to = 0;
  std::uint64_t frame = 0;  // the number of that at `from`
  int phases = 0;           // whole ones, lit and dark
  double alias_hz = 0;      // the lowest rate that would look the same; 0: none
  double exposure_s = 0;    // at least this long an exposure would exclude it; 0: none would
  bool is_believed() const { return alias_hz == 0; }
};

class BlinkAliases {
 public:
  struct Setup {
    Nanos period = 0;         // of the frames
    Nanos exposure = 0;       // at least this; 0: not known
    Nanos longest_phase = 0;  // lit or dark for longer: no blink
  };
  explicit BlinkAliases(const Setup& setup) : setup_(setup) {}

  // One good frame; `number` counts all that came.
  void add(Nanos at, const LampLook& look, std::uint64_t number = 0);
  // Nothing more will come for now.
  void end_stretch();
  // Blinks of three phases or more that were seen whole, as they end.
  std::vector<SeenBlink> take();

 private:
  struct Frame {
    Nanos at = 0;
    bool clear = false, lit = false;
    double light = 0, open = 0;
    std::uint64_t number = 0;
  };
  struct Split;
  void examine();
  void examine(std::size_t from, std::size_t to);  // changes
  Split split(std::size_t from, std::size_t to) const;
  bool fits(const std::vector<Frame>& frames, double hz, double between_share) const;

  Setup setup_;
  std::vector<Frame> frames_;
  std::vector<std::size_t> changes_;  // the first frame that is clear after each
  std::optional<bool> lit_;
  Nanos changed_at_ = 0;
  std::size_t colour_ = 0;
  std::vector<SeenBlink> blinks_;
};

// Why it is not believed, and what to do: sentences whose first subject is the lamp, "seems to blink at
// 2.50 Hz ...". `may_be_steady`: the settings let the lamp be steady, so it may as well be dimmed.
std::string say_alias(const SeenBlink& blink, Nanos frame_period, bool exposure_known,
                      bool may_be_steady = false);

}  // namespace tachproof

// From how lamps look in frame after frame to changes with bounded instants.
//
// A change lies between the last frame that shows the old state and the first
// that shows the new one; how much of their exposures the lamp was lit says where
// (change_dating.h). Lamps whose spans have an instant in common may have
// changed together, and are taken to have done so: with a rolling shutter one
// change of all lamps shows in two frames. Pictures on the way that hardly stood
// are passed over. What a camera cannot decide is lost
// evidence: a lamp not seen for too long, changes as fast as the frames, and a
// lamp that fades in and out as dimming does when it beats with the shutter. A lamp
// that stays lit in no colour that it was taught is in a state of its own; that it
// comes and goes by degrees is no lost evidence then.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "core/base/time.h"
#include "core/camera/change_dating.h"
#include "core/camera/lamp_colour.h"

namespace tachproof {

inline constexpr int lamp_dark = -1, lamp_other = -2;  // lit in no taught colour

// One frame may be missing, twice the same or unclear; a little more for stamps.
inline constexpr double frames_in_longest_unseen = 2.2;

struct LampChange {
  std::size_t lamp = 0;
  int from = lamp_dark, to = lamp_dark;  // a colour's index
};

// A frame as a person finds it: which of those that came, from 0, and its time.
struct FrameMark {
  std::uint64_t number = 0;
  Nanos at = 0;
};
std::string say_frame(const FrameMark& frame);  // "frame 127 (4.233 s)"

struct LostSight {
  Nanos at = 0;        // of the camera's time
  std::string what;    // a clause that names lamp and frame
  std::string remedy;  // a clause
};

// For how long a lamp was lit in no taught colour. While it comes and goes by degrees its colour may
// be another (a filament is redder then), so that only its brightest frames count: those of earlier times
// too, where they were alike.
struct OtherColour {
  std::size_t lamp = 0;
  FrameMark from, to;
  int frames = 0;             // that count
  double red = 0, green = 0;  // shares of the halo's light, means over them
  int time = 0;               // the first of this lamp, the second, ...
};

// All of `changes` happened after `after` and not after `before`.
struct ChangeSpan {
  Nanos after = 0, before = 0;
  std::vector<LampChange> changes;
  bool ends_brief = false;  // of one lamp: the state that it leaves was seen in one frame only
  FrameMark shown = {};     // the frame that showed the (first) change
  Nanos middle() const { return after + (before - after) / 2; }
  Nanos half_width() const { return (before - after + 1) / 2; }
};

class LampFrames {
 public:
  struct Setup {
    Nanos longest_unseen = 0;  // a lamp may be out of sight this long: frames_in_longest_unseen periods
    // Per lamp: when it is read out, after the frame's stamp.
    std::vector<Nanos> readout;
    Nanos exposure = 0;  // as likely as not, for what it is by chance
    // Changes of two lamps are taken for one when they may have been, with
    // either off by this much.
    Nanos doubt = 0;
    std::vector<std::string> names = {};  // of the lamps, for messages
    ExposureBounds exposure_within = {};  // what dates changes
    std::vector<Nanos> rows = {};         // per lamp: half the time in which its own rows are read
    // Per lamp and colour: its light as taught (LampLook::light). None: all are 1.
    std::vector<std::vector<double>> levels = {};
  };
  explicit LampFrames(Setup setup);

  // One good frame: `at` is the middle of its exposure; `number` counts all that came.
  void add(Nanos at, std::span<const LampLook> lamps, std::uint64_t number = 0);

  // What is certain by now, in time order.
  std::vector<ChangeSpan> take();
  // Nothing before this is still to come. Not before every lamp was seen once.
  std::optional<Nanos> known_until() const;
  // The state of every lamp as of the first instant that all are known.
  bool begun() const { return begun_; }
  const std::vector<int>& initial() const { return initial_; }
  Nanos begun_at() const { return begun_at_; }

  // Since the last call: what could not be read.
  std::vector<LostSight> take_lost() { return std::exchange(lost_, {}); }
  // Likewise those that have ended; `now`: the one that has not, too.
  std::vector<OtherColour> take_others(bool now);

 private:
  struct Lamp {
    bool known = false;
    int state = lamp_dark;
    Nanos seen = 0;  // clearly, the last time
    int frames_in_state = 0;
    int quick_phases = 0;       // in a row
    int between = 0;            // frames in a row that were neither dark nor fully lit,
    bool changed_amid = false;  // and the state changed among them
    // Of the last eight changes, the latest in bit 0: those with a frame between,
    // and those with two or more.
    std::uint8_t with_one = 0, with_two = 0;
    int fadings = 0;         // of those eight that there were
    bool fades = false;      // has been reported
    OtherColour other = {};  // so far, all frames; 0: none
    int others = 0;
    struct OtherSight {
      double light = 0, red = 0, green = 0;
    };
    std::vector<OtherSight> other_sights = {};
    OtherColour steady = {};             // the brightest frames of all times that were alike
    std::vector<LampSight> sights = {};  // the last few, in this state and just before it
    // A change that a frame or two more may date better.
    struct Pending {
      ChangeSpan span;        // within which it lies whatever comes
      Nanos from = 0;         // the last that was seen of the old state
      int frames = 0;         // since
      bool is_brief = false;  // the state before or after it was seen in one frame only
    };
    std::optional<Pending> pending = {};
    DatedSpan last = {};  // of its change before
    bool any_change = false;
  };
  void see(std::size_t index, Nanos at, const LampLook& look);
  void see_other(std::size_t index, Nanos at, const LampLook& look);
  void end_other(Lamp& lamp);
  static OtherColour steady_part(Lamp& lamp);
  void remember(Lamp& lamp, Nanos at, const LampLook& look) const;
  void settle(std::size_t index);
  double level(std::size_t index, int state) const;
  Nanos reach(std::size_t index) const;
  void put(ChangeSpan span);
  std::string name(std::size_t index) const;
  FrameMark mark(Nanos at) const { return {number_, at}; }
  void change(std::size_t index, Nanos at, int state);
  void note_fading(std::size_t index, int between, Nanos at);
  std::optional<Nanos> seen_until() const;
  static void join(const ChangeSpan& next, ChangeSpan& group);
  static ChangeSpan joined(std::span<const ChangeSpan> all, bool passes_through);
  void lose(Nanos at, std::string what, std::string remedy) {
    lost_.push_back({at, std::move(what), std::move(remedy)});
  }

  Setup setup_;
  std::vector<Lamp> lamps_;
  std::vector<ChangeSpan> changes_;  // one lamp each, by `before`
  bool begun_ = false;
  std::vector<int> initial_;
  Nanos begun_at_ = 0;
  std::uint64_t number_ = 0;
  std::vector<LostSight> lost_;
  std::vector<OtherColour> others_;
};

}  // namespace tachproof

// A rig: one source, one watcher, and the wiring between them.
//
// The runner knows nothing of which kind it has. A run goes
//
//     source.begin, watcher.begin
//     repeat: source.play(block); watcher.collect(...)
//     source.end, watcher.end                (always, whatever happened)
//     source.how_it_ended
//
// Failures of the world are thrown as RigError by begin, play and collect; the
// runner turns them into a finding and an undecided run.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/bench_facts.h"
#include "core/judge/dim_light.h"
#include "core/judge/result.h"
#include "core/judge/timeline.h"
#include "core/signal/noise.h"
#include "core/signal/profile.h"

namespace tachproof {

struct PulseWire;

// A device that is missing, lost or not fit for the job. what() is a sentence:
// doing what, on what, why.
struct RigError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

struct PulseBlock {
  std::span<const Nanos> pulses;  // time order, after the last block's `until`
  Nanos until = 0;                // the train is complete up to here
};

struct SourceFacts : SourceTiming {
  std::string kind;           // "simulated", "board", ...
  std::string description;    // one line for the report
  bool virtual_time = false;  // runs as fast as it can
  std::string note = {};      // a sentence for the report, where there is something to know
};

// How a source was left.
struct SourceEnd {
  bool sound = true;  // false: it did not play what was set, or may still play
  std::string said;   // words for a finding: "its output is off, confirmed"; may be empty
};

// What a source that times its own commands knows of one of them.
struct PlayedChange {
  Nanos due = 0;                 // when it should have come
  Nanos sent = 0, answered = 0;  // when it was asked for and when it was read back
  double hz = 0;                 // as read back; 0: the output is off
};

// What a supply that is told by commands has done with one of them.
struct SuppliedChange {
  Nanos due = 0;
  // In the run's time: it came somewhere between the two.
  Nanos from = 0, to = 0;
  double volts = 0;     // as read back; 0: the output is off
  double within_v = 0;  // what the unit is fed may differ by as much
};

// Done by the one thread that there is, in between. Both may throw RigError.
class SideWork {
 public:
  virtual ~SideWork() = default;
  virtual Nanos next() const = 0;  // when something is due; the latest time there is: nothing
  // What is due next; the run has come to its instant. `no_later`: asked afterwards, the run's time is not
  // beyond its answer.
  virtual void run(const std::function<Nanos()>& no_later) = 0;
  virtual void spare(Nanos time) = 0;  // nothing of the source's is due for so long
};

struct PlayRequest {
  const Profile& profile;
  double pulses_per_rev = 0;
  const Noise& noise;
  bool dwell = false;  // in place of the profile: holds that end when enough is known
};

class Source {
 public:
  virtual ~Source() = default;
  virtual SourceFacts facts() const = 0;
  // Why it cannot play this, a sentence. Asked before begin.
  virtual std::optional<std::string> cannot_play(const PlayRequest& request) {
    (void)request;
    return std::nullopt;
  }
  virtual void begin() = 0;
  // What the pulses that follow mean; before the block that reaches it.
  virtual void rpm(const Segment& segment) { (void)segment; }
  // Takes the block; blocks while the device is full.
  virtual void play(const PulseBlock& block) = 0;
  // An action on the unit, queued for its instant; `unknown` names are refused
  // before the run by `can_press`.
  virtual bool can_press(const std::string& action) const = 0;
  virtual void press(const Press& press, Nanos at) = 0;
  // The unit's supply, queued for its instant like a press: cut for a time, while the pulses go on, or set to
  // a voltage. A voltage stays after its time, until the next one. Never called where `can_...` says no.
  virtual bool can_power() const { return false; }
  virtual void power_off(Nanos lasts, Nanos at) {
    (void)lasts, (void)at;
    throw std::logic_error("a source was asked to cut a supply; can_power has said that it cannot");
  }
  virtual bool can_supply() const { return false; }
  virtual void supply(const Supply& supply, Nanos at) {
    (void)supply, (void)at;
    throw std::logic_error("a source was asked to set a supply; can_supply has said that it cannot");
  }
  // Lets a little time pass with what the device needs meanwhile: for a watcher
  // that waits for something else. The run's time by the device, below 0 before
  // it; nothing where there is no such device.
  virtual std::optional<Nanos> attend() { return std::nullopt; }
  // The wire to a unit in software that hears what is played: whoever feeds it tells it by that. Null: there
  // is none.
  virtual PulseWire* wire_to_unit() { return nullptr; }
  // What it has done since the last call, for the journal.
  virtual std::vector<PlayedChange> take_played() { return {}; }
  // The same of the unit's supply.
  virtual std::vector<SuppliedChange> take_supplied() { return {}; }
  // Something else that is due at instants of the run: the source sees to it while it lets time pass. One at
  // most, which must outlive the run. A source in virtual time has none.
  virtual void beside(SideWork& errands) {
    (void)errands;
    throw std::logic_error("a source was given errands that it cannot run");
  }
  // Output off, whatever state the run is in. Called once after begin.
  virtual void end() noexcept = 0;
  // After end.
  virtual SourceEnd how_it_ended() const { return {}; }
};

struct WatcherFacts : WatcherTiming {
  std::string kind;
  std::string description;
  Channels wired = 0;  // the channels that it sees
  Nanos behind = 0;    // it knows what it saw about this much later, and the source must be that far ahead
};

// Up to where a watcher's changes are complete.
struct Seen {
  Nanos until = 0;         // complete up to here
  std::uint64_t lost = 0;  // changes known to be lost since the last call
  std::string lost_why;    // a sentence, when lost > 0
  // What it found itself since the last call, instants in the run's time.
  std::vector<Finding> found = {};
  // As for Judge: blinks that it may have misread; why its clock does not go
  // with the run's.
  Channels unsure_blinks = 0;
  std::string untimed = {};
  // Of all changes until now.
  std::optional<StampTimes> stamps = {};
  // How bright lamps were, up to `until`, where it sees light and the unit dims.
  std::vector<SeenLight> lights = {};
};

// A file of evidence that a watcher leaves, beside the timeline.
struct WatcherFile {
  std::string name, text;
};

class Watcher {
 public:
  virtual ~Watcher() = default;
  virtual WatcherFacts facts() const = 0;
  virtual void begin() = 0;
  // Appends the changes up to `until`, in time order; waits for them.
  virtual Seen collect(Nanos until, std::vector<LampEvent>& out) = 0;
  // Tells `heard` of every change as soon as it knows of one, before it is collected and whether or not it
  // is certain; from any thread, between begin and end. False: it has nothing to tell earlier.
  virtual bool tell_at_once(std::function<void(const LampEvent&)> heard) {
    (void)heard;
    return false;
  }
  // The unit's own answer to a question, where it can give one.
  virtual std::optional<std::string> answer(const Ask& ask) {
    (void)ask;
    return std::nullopt;
  }
  virtual void end() noexcept = 0;
  // After end: what to keep beside the timeline.
  virtual std::vector<WatcherFile> files() const { return {}; }
};

// Where the host's clock times the run: its instant 0, once it has begun.
using RunZero = std::shared_ptr<std::optional<Nanos>>;

struct Rig {
  std::unique_ptr<Source> source;
  std::unique_ptr<Watcher> watcher;
};

// What both state of their time, for the judge and the record.
inline BenchFacts bench_facts(const Rig& rig) { return {rig.source->facts(), rig.watcher->facts()}; }

}  // namespace tachproof

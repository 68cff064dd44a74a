// The kinds of source and of watcher. The rest of the program asks a kind for facts, and compares no names.
//
// Each kind is a class in a folder of its own, beside what it makes, and one line in factory.cc. No folder
// knows another: what a source and a watcher share when they are made is in the types below.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "bench/files/files.h"
#include "bench/files/rig_kinds.h"
#include "bench/rigs/command_clock.h"
#include "bench/rigs/pulse_wire.h"
#include "bench/rigs/rig.h"
#include "core/gauge/gauge.h"
#include "core/judge/bench_facts.h"

namespace tachproof {

// What a rig is made from.
struct RigPlan {
  const RigFile& rig;
  const std::string& file;  // the rig file's name, for messages
  const Gauge& gauge;       // the one under test, in whose channels the watcher speaks
  std::uint64_t seed = 0;
};
// Throws FileErrors: the watch of this rig file is at fault.
[[noreturn]] void refuse_watch(const RigPlan& plan, const std::string& why);

// By whose clock a source plays. It decides which watchers can stand beside it.
enum class SourceClock {
  device,  // its own device's, which stamps the lamps on its own inputs too
  host,    // this computer's: it sends each command when it is due
  none,    // software, as fast as it can; or all was played before
};

// Makes the source with what it watches itself. Opens its device: throws RigError.
using OpenOwnRig = std::function<Rig()>;

// For a watcher beside a source that plays by the host's clock.
struct HostBench {
  struct Played {
    std::shared_ptr<PulseWire> wire;               // what is played, as a simulated unit hears it
    std::function<std::optional<Nanos>()> attend;  // the source's, while something else is waited for
  };
  std::shared_ptr<CommandClock> clock;
  RunZero zero;
  // Opens the source's device: throws RigError. A watcher that does not call it has taken its own device
  // first, and the source's is opened after it.
  std::function<Played()> open;
};

class WatchKind;

class SourceKind : public SourceFormat {
 public:
  // Where a person chooses: "a signal generator".
  virtual std::string about() const = 0;
  virtual SourceClock clock() const = 0;
  // Opens the device. Throws RigError, FileErrors, and std::invalid_argument, a sentence, for a watch that
  // does not fit.
  virtual Rig make(const RigPlan& plan, const WatchKind& watch) const = 0;
  // The word of the watcher that needs no device of its own beside it; it keeps the source's pace also
  // where nothing is to be watched.
  virtual std::string own_watch() const = 0;
  // Why it cannot play this, a sentence, as far as is known without opening it.
  virtual std::optional<std::string> cannot_play(const PlayRequest& request) const;
  virtual bool can_press(const RigFile::SourcePart& source, const std::string& action) const = 0;
  // What to do about an action that it cannot press; the end of a sentence.
  virtual std::string how_to_press(const std::string& action) const;
  // Whether it can cut the unit's supply, or set its voltage. No, unless a kind says otherwise.
  virtual bool can_power(const RigFile::SourcePart& source) const;
  virtual bool can_supply(const RigFile::SourcePart& source) const;
  // Which watcher it needs; the end of a sentence about one that cannot watch it, or nothing.
  virtual std::string needs() const { return {}; }
  // What to mind before a unit is connected: sentences, each after a blank; or nothing.
  virtual std::string cautions() const { return {}; }
  // What it must state of itself in a record, by its rig file alone.
  virtual SourceTiming states(const RigFile::SourcePart& source, double pulses_per_rev) const;

  bool is_software() const { return clock() == SourceClock::none; }
};

// What feeds the unit, beside a source that can neither cut nor set its supply.
class SupplyKind : public SupplyFormat {
 public:
  virtual bool goes_beside(SourceClock clock) const = 0;
  // Which source it needs; the end of a sentence about one that it does not go beside.
  virtual std::string needs() const = 0;
  // Whether it can set a voltage; each can cut the supply.
  virtual bool can_supply() const { return false; }
  // Why it will not feed a unit of this gauge so many volts; the end of a sentence about them.
  virtual std::optional<std::string> refuses(const RigFile::SupplyPart& supply, const Gauge& gauge,
                                             double volts) const;
  // Throws FileErrors for a supply that does not suit the gauge.
  virtual void check(const RigPlan& plan) const { (void)plan; }
  // What both state of their time, beside a source of this clock.
  virtual SourceTiming states(const RigFile::SupplyPart& supply, const SourceTiming& source,
                              SourceClock clock) const = 0;
  // The rig with its supply. Opens a device of its own: throws RigError.
  virtual Rig fed(const RigPlan& plan, Rig rig, SourceClock source) const;
  virtual std::string cautions() const { return {}; }
};

class WatchKind : public WatchFormat {
 public:
  virtual std::string about() const = 0;
  virtual bool goes_beside(SourceClock clock) const = 0;
  // Which source it needs; the end of a sentence about one that it cannot watch, or nothing.
  virtual std::string needs() const { return {}; }
  // The channels of the gauge that it sees. Opens nothing. Throws FileErrors for what does not fit the
  // gauge, and std::invalid_argument, a sentence.
  virtual Channels watched(const RigPlan& plan) const;

  // The rig, or its watcher, beside a source of each clock: device, host, none. Called only where
  // `goes_beside` says yes; else std::logic_error. Throws as SourceKind::make.
  virtual Rig beside_own_clock(const RigPlan& plan, const OpenOwnRig& open) const;
  virtual std::unique_ptr<Watcher> by_host_clock(const RigPlan& plan, const HostBench& bench) const;
  virtual Rig in_virtual_time(const RigPlan& plan) const;

  // It sees pictures of the whole gauge, by `camera` of the rig file's watch.
  virtual bool films() const { return false; }
  // What a lamp is wired to: "input", "line".
  virtual std::string wired_to() const { return "input"; }
  // Where those are: "the board on /dev/ttyUSB0".
  virtual std::string place(const RigFile& rig) const;
  virtual std::string cautions() const { return {}; }
  // The same of a watcher. What its device alone can know is taken from `stated`.
  virtual WatcherTiming states(const RigFile& rig, SourceClock beside, const WatcherTiming& stated) const;
};

}  // namespace tachproof

// A signal generator as the source of the tach pulses: an even square wave
// whose frequency follows the profile in steps (core/signal/stepped_rpm.h).
//
// A change that is due at t is sent (answer + settle) / 2 before t, so that it
// comes within half of answer + settle of t, wherever in between. Each is read
// back; one that is read back too late or differs is a RigError, so what was
// promised to the judge was kept, or the run is undecided.
//
// Time is the host's. The source has no clock of its own, and its watcher stamps
// by the host's clock or hears the wire: `paced_by` makes a rig of the two, in
// which changes are sent while lamps are waited for, by one thread.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "bench/rigs/command_clock.h"
#include "bench/rigs/pulse_wire.h"
#include "bench/rigs/rig.h"
#include "bench/rigs/scpi/instrument.h"
#include "core/signal/stepped_rpm.h"

namespace tachproof {

// How a generator of this setting plays a profile.
SteppedTiming stepped_timing(const ScpiSetting& setting);
// What it plays is within this of what the steps are, in rpm.
double frequency_bound_rpm(const ScpiSetting& setting, double pulses_per_rev);

// Why no generator can play this: it asks for more than an even wave.
std::optional<std::string> no_even_wave(const PlayRequest& request);

class ScpiSource : public Source {
 public:
  // Sets the generator up, output off, and times its answers; when they take
  // longer than promised, begin refuses. `zero` is set when the run begins.
  // Throws RigError.
  ScpiSource(const ScpiSetting& setting, double pulses_per_rev, std::shared_ptr<CommandClock> clock,
             std::unique_ptr<Instrument> generator, RunZero zero = std::make_shared<std::optional<Nanos>>());

  SourceFacts facts() const override;
  std::optional<std::string> cannot_play(const PlayRequest& request) override;
  void begin() override;
  void rpm(const Segment& segment) override { steps_.add(segment); }
  void play(const PulseBlock& block) override { (void)block; }  // its own pulses are as even
  bool can_press(const std::string& action) const override;
  void press(const Press& press, Nanos at) override;
  std::vector<PlayedChange> take_played() override;
  std::optional<Nanos> attend() override;  // sends what is due meanwhile
  void end() noexcept override;

  // Sends what is due until the run's `until`, and lets the time pass.
  void work_until(Nanos until);
  RunZero zero() const { return zero_; }
  // What it plays, as read back, for a simulated unit.
  std::shared_ptr<PulseWire> wire() const { return wire_; }

 private:
  template <class Talk>
  auto talk(Talk step) -> decltype(step());
  Nanos half() const { return timing_.change / 2; }
  Nanos run_time(Nanos host) const { return host - **zero_; }
  void start();
  void make(const RpmChange& change);

  const ScpiSetting setting_;
  const double pulses_per_rev_;
  const SteppedTiming timing_;
  std::shared_ptr<CommandClock> clock_;
  std::unique_ptr<Instrument> generator_;
  Nanos longest_answer_ = 0;

  SteppedRpm steps_;
  std::optional<RpmChange> next_;
  bool on_ = false, ended_ = true;
  RunZero zero_;
  std::shared_ptr<PulseWire> wire_ = std::make_shared<PulseWire>();
  EvenPulses pulses_;
  std::vector<PlayedChange> played_;
};

Rig paced_by(std::unique_ptr<ScpiSource> source, std::unique_ptr<Watcher> watcher);

}  // namespace tachproof

// A signal generator as the source of the tach pulses: an even square wave
// whose frequency follows the profile in steps (core/signal/stepped_rpm.h).
//
// A change that is due at t is sent (answer + settle) / 2 before t, so that it
// comes within half of answer + settle of t, wherever in between. Each is read
// back; one that is read back too late or differs is a RigError, so what was
// promised to the judge was kept, or the run is undecided.
//
// Its whole state is read back, too: with every change where its answers are
// quick enough, else wherever there is room for the question, and at the end.
// Whatever differs from what was set is a RigError: an overload, a hand at its
// front panel or another program has changed it.
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
  // Sets the generator up, keys locked, output off, and times its answers; when they take
  // longer than promised, begin refuses. `zero` is set when the run begins.
  // Throws RigError.
  ScpiSource(const ScpiSetting& setting, double pulses_per_rev, std::shared_ptr<CommandClock> clock,
             std::unique_ptr<Instrument> generator, RunZero zero = std::make_shared<std::optional<Nanos>>());

  SourceFacts facts() const override;
  std::optional<std::string> cannot_play(const PlayRequest& request) override;
  void begin() override;
  void rpm(const Segment& segment) override;
  void play(const PulseBlock& block) override { (void)block; }  // its own pulses are as even
  bool can_press(const std::string& action) const override;
  void press(const Press& press, Nanos at) override;
  std::vector<PlayedChange> take_played() override;
  std::optional<Nanos> attend() override;  // sends what is due meanwhile
  void beside(SideWork& errands) override { errands_ = &errands; }
  PulseWire* wire_to_unit() override { return wire_.get(); }
  void end() noexcept override;
  SourceEnd how_it_ended() const override { return left_; }

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
  void believe(const Instrument::Answer& answer);
  bool room_to_look(Nanos until) const;
  void look();
  bool run_errand(Nanos until);
  std::string last_look();

  const ScpiSetting setting_;
  const double pulses_per_rev_;
  const SteppedTiming timing_;
  std::shared_ptr<CommandClock> clock_;
  std::unique_ptr<Instrument> generator_;
  Instrument::AnswerTimes longest_;

  SteppedRpm steps_;
  std::optional<RpmChange> next_;
  Nanos known_until_ = 0;  // of the profile
  Nanos looked_ = 0;       // when all was last as it was set
  double hz_ = 0;          // as set last
  bool on_ = false, ended_ = true;
  bool failed_ = false;  // somebody has been told why
  SourceEnd left_;
  RunZero zero_;
  std::shared_ptr<PulseWire> wire_ = std::make_shared<PulseWire>();
  EvenPulses pulses_;
  std::vector<PlayedChange> played_;
  SideWork* errands_ = nullptr;
};

Rig paced_by(std::unique_ptr<ScpiSource> source, std::unique_ptr<Watcher> watcher);

}  // namespace tachproof

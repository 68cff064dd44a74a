// A tachometer in software: measures the tach signal as a real one does and
// drives its lamps. Virtual time, no threads, the same inputs give the same
// lamp changes.
//
//     edge interrupt -> timer capture -> average -> update -> rounding
//     -> window logic -> switching delay -> blink and PWM -> lamps
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/timeline.h"
#include "core/signal/profile.h"

namespace tachproof {

class SimulatedUnit {
 public:
  // `gauge`: what the unit really runs. `as_seen`: the gauge whose channels
  // the events are given in (the one on the command line); lamps and colours
  // are matched by name, and one that `as_seen` does not have is not seen.
  // Throws std::invalid_argument with a sentence for a behaviour out of range
  // or a fault whose words do not fit the gauge (a boundary that is not there).
  SimulatedUnit(const Gauge& gauge, const Behaviour& behaviour, const Gauge& as_seen, std::uint64_t seed = 0);
  ~SimulatedUnit();
  SimulatedUnit(SimulatedUnit&&) noexcept;
  SimulatedUnit& operator=(SimulatedUnit&&) noexcept;

  // Pulses in time order, after the last call's `until` and not after this
  // one's; then lives on, without a pulse, until `until`. Appends lamp changes,
  // in time order, up to `until`; the first, at 0, says what is lit from the
  // start. How a train is cut into calls does not change the events.
  void run(std::span<const Nanos> pulses, Nanos until, std::vector<LampEvent>& out);

  // A press of one of its gauge's buttons, or its supply: in time order, after the last run's `until`, and
  // before the run that reaches it. A press of something else does nothing; nor does a question. What a
  // button does is in unit_buttons.h, what the supply does in unit_power.h.
  void act(const Action& action);

  double peak_rpm() const;       // the highest that it believed since power-up, or since it was cleared
  std::string describe() const;  // one line: response, averaging, faults

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

// What a fault of this kind takes: for the file reader, the schema and help.
struct FaultKind {
  std::string kind;                  // "boundary-moved"
  std::string does;                  // one sentence
  std::vector<std::string> words;    // required: boundary, lamp, colour, window, to, ...
  std::vector<std::string> numbers;  // required: by_rpm, hz, ...
  std::vector<std::string> optional_numbers;
  std::vector<std::string> optional_words;
};
const std::vector<FaultKind>& fault_catalogue();

}  // namespace tachproof

// A power supply that speaks SCPI-99: what is said to it, and what is believed of its answers
// (scpi_device.h).
//
// `VOLT`, `CURR` and `OUTP` set it and are read back; `MEAS:VOLT?` says what the unit really gets.
#pragma once

#include <memory>
#include <string>

#include "bench/files/files.h"
#include "bench/rigs/scpi/scpi_device.h"

namespace tachproof {

class PowerSupply : public ScpiDevice {
 public:
  // Opens the link, claims the address, asks *IDN?. Throws RigError.
  PowerSupply(const PowerSupplySetting& setting, std::shared_ptr<CommandClock> clock, OpenLink open,
              Nanos patience = 2 * ns_per_s);

  // *RST where wanted, keys locked, output off, current limit, volts: each read back. Throws RigError with
  // the error queue when one is refused.
  void set_up();
  // The longest of some answers to the question for its whole state.
  Nanos answer_time() { return longest_answer(whole_state()); }

  // Each may be called at once after rest().
  Answer set_volts(double volts);
  Answer start();  // the output on
  Answer stop() { return switch_off(); }
  // Its whole state. `settled`: what it measures is what was set, too.
  Answer state(double volts, bool on, bool settled);

 private:
  std::string whole_state() const;

  const PowerSupplySetting setting_;
};

}  // namespace tachproof

// A signal generator that speaks SCPI-99: what is said to it, and what is believed of its answers
// (scpi_device.h).
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/scpi/scpi_device.h"

namespace tachproof {

class Instrument : public ScpiDevice {
 public:
  // Opens the link, claims the address, asks *IDN?. Throws RigError.
  Instrument(const ScpiSetting& setting, std::shared_ptr<CommandClock> clock, OpenLink open,
             Nanos patience = 2 * ns_per_s);

  // *RST where wanted, keys locked, output off, square wave, load, amplitude,
  // offset: each read back. Throws RigError with the error queue when one is refused.
  void set_up();

  struct AnswerTimes {
    Nanos change = 0;  // the longest answer to a change of frequency,
    Nanos state = 0;   // and to the question for its whole state
  };
  // Of some answers. When the whole state comes well within `answer`, it is
  // asked for with every change from now on.
  AnswerTimes answer_times();

  // Each may be called `settle` after the last answer at the soonest; see rest().
  Answer set_frequency(double hz, double& read_back);
  // Its whole state: frequency, output, wave, amplitude, offset, load where one was set.
  Answer state(double hz, bool on);
  Answer start(double hz, double& read_back);  // and the output on
  Answer stop() { return switch_off(); }

 private:
  std::string whole_state() const;  // the question for it
  bool is_load(const std::string& text) const;
  std::string differences(const std::vector<std::string>& said, bool on) const;

  const ScpiSetting setting_;
  bool state_with_changes_ = false;
};

}  // namespace tachproof

// A signal generator that speaks SCPI-99 over IEEE 488.2: what is said to it,
// and what is believed of its answers.
//
// One message is outstanding at a time, and every setting is read back by the
// message that makes it: `FREQ 186;:FREQ?`. Some instruments lose what comes
// within 20 ms of the last command, and some answer *OPC? at once: so nothing
// is sent until `settle` after an answer, and *OPC? is not asked.
//
// An answer that does not come is never waited for again: the link is opened
// anew, *IDN? must give the name it gave before, the output is switched off,
// and what the error queue has is in the RigError that is thrown.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/command_clock.h"
#include "bench/rigs/scpi/instrument_link.h"
#include "core/base/time.h"

namespace tachproof {

using OpenLink = std::function<std::unique_ptr<InstrumentLink>()>;

class Instrument {
 public:
  struct Answer {
    std::string text;
    Nanos sent = 0, came = 0;  // by the clock
  };

  // Opens the link, asks *IDN?, empties the error queue. Throws RigError.
  Instrument(const ScpiSetting& setting, std::shared_ptr<CommandClock> clock, OpenLink open,
             Nanos patience = 2 * ns_per_s);

  const std::string& identity() const { return identity_; }
  const std::string& name() const { return name_; }  // "the generator at ..."

  // *RST where wanted, output off, square wave, load, amplitude, offset: each
  // read back. Throws RigError with the error queue when one is refused.
  void set_up();
  // The longest of some answers to a query.
  Nanos longest_answer_time();

  // Each may be called `settle` after the last answer at the soonest; see rest().
  Answer set_frequency(double hz, double& read_back);
  Answer start(double hz, double& read_back);  // and the output on
  Answer stop();                               // the output off
  void rest();

  // Off, whatever else is wrong; false when nobody can say that it is.
  bool make_silent() noexcept;

  // SYST:ERR? until it is empty: "-222,\"Data out of range\"".
  std::vector<std::string> errors();
  std::string errors_as_text();  // ""; else "; its error queue: ..."

 private:
  Answer ask(const std::string& message, Nanos patience);
  Answer ask(const std::string& message) { return ask(message, patience_); }
  void greet();
  void set(const std::string& header, const std::string& value,
           const std::function<bool(const std::string&)>& ok);
  void set_number(const std::string& header, double value);
  [[noreturn]] void no_answer(const std::string& message, Nanos patience);

  const ScpiSetting setting_;
  std::shared_ptr<CommandClock> clock_;
  OpenLink open_;
  Nanos patience_;
  std::string name_, source_, output_;  // headers: "SOUR2:", "OUTP2"
  std::unique_ptr<InstrumentLink> link_;
  std::string identity_;
  Nanos answered_ = 0;
};

}  // namespace tachproof

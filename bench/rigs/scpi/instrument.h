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
// and what the error queue has is in the RigError that is thrown. One that
// answers nothing at all is told to switch off all the same.
//
// Nobody else is to change it meanwhile: its address is claimed among the
// programs of this machine, and its keys are locked by SYST:RWL, until
// SYST:LOC, where the model has that. Both are of common practice for SCPI
// instruments, from memory; a model that does not know them puts an error into
// its queue and goes on.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/command_clock.h"
#include "bench/rigs/last_words.h"
#include "bench/rigs/port_holder.h"
#include "bench/rigs/scpi/instrument_link.h"
#include "core/base/time.h"

namespace tachproof {

using OpenLink = std::function<std::unique_ptr<InstrumentLink>()>;

class Instrument {
 public:
  struct Answer {
    std::string text;
    Nanos sent = 0, came = 0;  // by the clock
    // How what it says of itself differs from what was set: "its output is off
    // (set: on), amplitude 4 Vpp (set: 5)". Empty: not at all, as far as asked.
    std::string changed;
  };

  // Opens the link, claims the address, asks *IDN?. Throws RigError.
  Instrument(const ScpiSetting& setting, std::shared_ptr<CommandClock> clock, OpenLink open,
             Nanos patience = 2 * ns_per_s);
  ~Instrument();
  Instrument(const Instrument&) = delete;
  Instrument& operator=(const Instrument&) = delete;

  const std::string& identity() const { return identity_; }
  const std::string& name() const { return name_; }  // "the generator at ..."

  // *RST where wanted, keys locked, output off, square wave, load, amplitude,
  // offset: each read back. Throws RigError with the error queue when one is refused.
  void set_up();
  // Why its keys could not be locked: its error. Empty: they are locked.
  const std::string& keys_not_locked() const { return keys_not_locked_; }

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
  Answer stop();                               // the output off
  void rest();

  // Off, whatever else is wrong; false when nobody can say that it is. After a
  // false one it is quicker.
  bool make_silent() noexcept;
  // Its keys may be used again.
  void unlock() noexcept;

  // SYST:ERR? until it is empty: "-222,\"Data out of range\"".
  std::vector<std::string> errors();
  std::string errors_as_text();  // ""; else "; its error queue: ..."

 private:
  Answer ask(const std::string& message, Nanos patience);
  Answer ask(const std::string& message) { return ask(message, patience_); }
  void tell(const std::string& message);
  void reach_again();
  void greet();
  void lock_keys();
  std::string whole_state() const;  // the question for it
  Nanos longest_answer(const std::string& question);
  bool is_load(const std::string& text) const;
  std::string differences(const std::vector<std::string>& said, bool on) const;
  void set(const std::string& header, const std::string& value,
           const std::function<bool(const std::string&)>& ok);
  void set_number(const std::string& header, double value);
  [[noreturn]] void no_answer(const std::string& message, Nanos patience);

  const ScpiSetting setting_;
  std::shared_ptr<CommandClock> clock_;
  OpenLink open_;
  Nanos patience_;
  std::string name_, source_, output_;  // headers: "SOUR2:", "OUTP2"
  SwitchedOffFirst first_;
  std::optional<PortClaim> claim_;
  std::unique_ptr<InstrumentLink> link_;
  std::string identity_;
  std::string keys_not_locked_ = "nobody asked for it";
  Nanos answered_ = 0;
  bool on_ = false;  // as it was told last
  bool locked_ = false, gave_up_ = false;
  bool state_with_changes_ = false;
};

}  // namespace tachproof

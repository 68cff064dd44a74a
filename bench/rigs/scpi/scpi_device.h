// A device that speaks SCPI-99 over IEEE 488.2 and has an output: how it is talked to, what is believed of
// its answers, and how its output is off at the end.
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

#include "bench/rigs/command_clock.h"
#include "bench/rigs/last_words.h"
#include "bench/rigs/port_holder.h"
#include "bench/rigs/scpi/instrument_link.h"
#include "core/base/time.h"

namespace tachproof {

inline constexpr const char* off_confirmed = "its output is off, confirmed";
inline constexpr const char* maybe_on =
    "its output may still be on: switch it off at the instrument (by its mains switch, should its keys be "
    "locked)";

using OpenLink = std::function<std::unique_ptr<InstrumentLink>()>;

class ScpiDevice {
 public:
  struct Answer {
    std::string text;
    Nanos sent = 0, came = 0;  // by the clock
    // How what it says of itself differs from what was set: "its output is off
    // (set: on), amplitude 4 Vpp (set: 5)". Empty: not at all, as far as asked.
    std::string changed;
  };

  ScpiDevice(const ScpiDevice&) = delete;
  ScpiDevice& operator=(const ScpiDevice&) = delete;

  const std::string& identity() const { return identity_; }
  const std::string& name() const { return name_; }  // "the generator at ..."
  // Why its keys could not be locked: its error. Empty: they are locked.
  const std::string& keys_not_locked() const { return keys_not_locked_; }

  void rest();  // until `settle` after the last answer

  // Off, whatever else is wrong; false when nobody can say that it is. After a
  // false one it is quicker.
  bool make_silent() noexcept;
  // Its keys may be used again.
  void unlock() noexcept;

  // SYST:ERR? until it is empty: "-222,\"Data out of range\"".
  std::vector<std::string> errors();
  std::string errors_as_text();  // ""; else "; its error queue: ..."

 protected:
  struct Kind {
    std::string name;     // "the generator at 192.0.2.7:5025"
    std::string article;  // "a signal generator"
    unsigned channel = 1;
    Nanos answer = 0, settle = 0;
    bool reset = true;  // *RST before it is set up
  };
  // Opens the link, claims the address, asks *IDN?. Throws RigError.
  ScpiDevice(Kind kind, std::shared_ptr<CommandClock> clock, OpenLink open, Nanos patience);
  ~ScpiDevice();

  Answer ask(const std::string& message, Nanos patience);
  Answer ask(const std::string& message) { return ask(message, patience_); }
  void tell(const std::string& message);
  // *RST where wanted, errors forgotten, keys locked, output off.
  void clear();
  void set(const std::string& header, const std::string& value,
           const std::function<bool(const std::string&)>& ok);
  void set_number(const std::string& header, double value);
  void no_errors();  // else RigError
  Nanos longest_answer(const std::string& question);
  Answer switch_off();
  // "its output is off (set: on)"; nothing where it is as it was set.
  static std::optional<std::string> output_differs(const std::string& said, bool on);

  const Kind kind_;
  const std::string source_, output_;  // headers: "SOUR2:", "OUTP2"
  bool on_ = false;                    // as it was told last

 private:
  void reach_again();
  void greet();
  void lock_keys();
  [[noreturn]] void no_answer(const std::string& message, Nanos patience);

  std::shared_ptr<CommandClock> clock_;
  OpenLink open_;
  Nanos patience_;
  const std::string name_;
  SwitchedOffFirst first_;
  std::optional<PortClaim> claim_;
  std::unique_ptr<InstrumentLink> link_;
  std::string identity_;
  std::string keys_not_locked_ = "nobody asked for it";
  Nanos answered_ = 0;
  bool locked_ = false, gave_up_ = false;
};

// ---- what answers say -------------------------------------------------------

std::optional<double> scpi_number(std::string_view text);
bool scpi_says(const std::string& text, double wanted);
// As it was read back: instruments round.
bool scpi_is_near(const std::string& text, double value);
// A number as people write it; else what was said.
std::string scpi_number_said(const std::string& text);
// An answer for a message to a person: shown as what it is, not too long.
std::string scpi_quoted(const std::string& text);
// "100.0;1;SQU": the answers to one message.
std::vector<std::string> scpi_fields(const std::string& text);
// "a, b"
std::string scpi_joined(const std::vector<std::string>& all);

}  // namespace tachproof

// A signal generator in software, behind a TCP socket or a pseudo-terminal:
// SCPI-99 as far as a square wave needs it, with the delays and the faults of
// real ones. It lives by the clock that it is given: an answer makes a virtual one pass.
#pragma once

#include <atomic>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "bench/rigs/command_clock.h"
#include "core/base/time.h"

namespace tachproof::test {

// Moves when somebody waits, or when the generator takes its time.
class VirtualClock : public CommandClock {
 public:
  Nanos now() override { return now_; }
  void wait_until(Nanos t) override {
    if (t > now_) now_ = t;
  }

 private:
  std::atomic<Nanos> now_{1000 * ns_per_s};
};

struct GeneratorNature {
  Nanos answers_in = 4 * ns_per_ms;
  Nanos changes_in = 7 * ns_per_ms;  // from a command until its output follows
  Nanos loses_within = 0;            // a message this soon after the last answer is lost
  double most_hz = 1e6, most_v = 10;
  bool knows_load = true;
  bool locks_keys = true;           // knows SYST:RWL and SYST:LOC
  bool bare_newline_first = false;  // before its name, as some do
  bool deaf_when_lost = false;      // takes no new connection after a fault
  // The fault comes at this message, counted from 1 over all connections; 0: never.
  int silent_at = 0, hangs_up_at = 0, garbage_at = 0, late_at = 0, wrong_at = 0;
  Nanos late_by = 300 * ns_per_ms;
  std::string name = "Tarn Instruments,TG1,0042,1.0";
  std::string complains;  // in its error queue from the start
  // So long after its output came on, by the clock; 0: never. An overload
  // switches it off; a hand at its front panel changes what is below.
  Nanos trips_after = 0, hand_after = 0;
  std::optional<double> hand_hz = {}, hand_volts = {}, hand_offset = {}, hand_load = {};
  bool hand_sine = false;
  // It is a power supply: it has volts and a limit of its current in place of a wave, and measures what it
  // gives, or `sags_to` where that is said.
  bool feeds = false;
  std::optional<double> sags_to = {};
};

// A power supply of up to 30 V.
inline GeneratorNature power_supply_nature() {
  GeneratorNature nature;
  nature.feeds = true;
  nature.most_v = 30;
  nature.name = "Tarn Instruments,TP1,0007,1.0";
  return nature;
}

struct OutputState {
  Nanos at = 0;
  double hz = 0;     // 0: off
  double volts = 0;  // the same
};

class SimulatedGenerator {
 public:
  enum class Door { tcp, terminal };
  SimulatedGenerator(std::shared_ptr<CommandClock> clock, const GeneratorNature& nature,
                     Door door = Door::tcp);
  ~SimulatedGenerator();

  std::string address() const { return address_; }
  bool output_on() const;
  std::vector<OutputState> output() const;    // all that it has put out, in time order
  std::vector<std::string> messages() const;  // all that it was told
  bool keys_locked() const;

  // At once, whatever the clock says.
  void trip();
  // Answers nothing from now on, by whatever link; it may obey all the same.
  void fall_mute(bool obeys);

 private:
  void serve();
  void converse(int fd);
  // True: the connection is at an end.
  bool take(const std::string& message, int fd);
  bool obey(std::string unit, std::string& answer);
  std::optional<bool> feed(const std::string& header, const std::string& word, std::string& answer);
  void put_out();
  void live();
  void switch_off();

  std::shared_ptr<CommandClock> clock_;
  const GeneratorNature nature_;
  std::string address_;
  int listener_ = -1, terminal_ = -1, slave_ = -1;
  std::atomic<bool> over_{false}, lost_{false};

  mutable std::mutex mutex_;
  std::vector<std::string> messages_;
  std::vector<OutputState> output_;
  std::vector<std::string> errors_;
  double hz_ = 1000, volts_ = 0.1, offset_ = 0, load_ = 50, limit_ = 0.1;
  bool on_ = false, square_ = false, locked_ = false;
  bool mute_ = false, mute_obeys_ = false;
  std::optional<Nanos> on_since_;  // nothing once what was to happen has happened
  Nanos answered_ = 0;
  std::thread thread_;
};

}  // namespace tachproof::test

// What board source and board watcher share: one board, one run at a time.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "bench/rigs/board/board.h"
#include "bench/rigs/board/board_connection.h"
#include "bench/rigs/board/board_train.h"
#include "bench/rigs/board/clock_check.h"

namespace tachproof {

// Not to be asked from two threads. Throws as the doors in bench/rigs/rig.h do.
class BoardSession {
 public:
  BoardSession(const BoardSettings& settings, std::unique_ptr<HostClock> clock);

  void begin();
  void play(const PulseBlock& block);
  bool can_press(const std::string& action) const;
  void press(const Press& press, Nanos at);
  bool can_power() const { return settings_.supply.has_value(); }
  void power_off(Nanos lasts, Nanos at);
  Seen collect(Nanos until, std::vector<LampEvent>& out);
  void tell_at_once(std::function<void(const LampEvent&)> heard) { heard_ = std::move(heard); }
  Nanos attend();  // as Source::attend
  void beside(SideWork& errands) { errands_ = &errands; }
  void end() noexcept;

  SourceFacts source_facts() const;
  WatcherFacts watcher_facts() const;

 private:
  void start();
  void feed();
  void step(Nanos until);
  void run_errands();
  Nanos no_later();
  void handle(const LinkFrame& frame);
  void handle(const LinkStatus& status);
  void handle(const LinkLamps& lamps);
  Nanos heard_until() const;  // in the run's time; -1 before the first status
  void check() const;
  void count_lost(std::uint16_t reported);
  void check_clock(LinkTicks seen_until);
  Channels lit(std::uint8_t inputs) const;
  Nanos run_time(LinkTicks at) const;
  void contradiction(std::string what);
  std::uint8_t wired_inputs() const;

  BoardSettings settings_;
  std::vector<std::pair<unsigned, Channels>> wires_;
  BoardConnection connection_;

  bool begun_ = false;
  bool armed_ = false;
  std::optional<LinkTicks> zero_;  // the run's instant 0
  std::string contradiction_;      // what the board said that cannot be

  TrainEncoder encoder_;
  TrainLedger ledger_;
  std::deque<std::uint16_t> queue_;  // to be sent
  Nanos asked_ = 0;
  std::optional<LinkStatus> status_;
  ClockCheck clock_check_;
  bool dry_ = false;  // ran out after all that there was

  std::deque<LinkStamp> stamps_;
  std::function<void(const LampEvent&)> heard_;  // of each as it comes; may be empty
  std::optional<Channels> shown_;                // last handed over
  SideWork* errands_ = nullptr;
  bool on_an_errand_ = false;
  std::uint16_t lost_reported_ = 0;
  std::uint64_t lost_new_ = 0;
};

}  // namespace tachproof

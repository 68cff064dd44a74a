#include "bench/rigs/board/board_session.h"

#include <fmt/format.h>

#include <algorithm>
#include <numbers>
#include <stdexcept>

#include "bench/rigs/board/clock_calibration.h"

namespace tachproof {
namespace {

constexpr Nanos ready_within = 500 * ns_per_ms;
constexpr Nanos status_every = 20 * ns_per_ms;
constexpr Nanos attend_for = 5 * ns_per_ms;
constexpr Nanos start_with = 200 * ns_per_ms;  // of train; or a full queue
// An entry is taken before its time comes; a board that is this far behind takes none.
constexpr LinkTicks stuck_after = ns_per_s / link_tick_ns;

std::string describe_flags(unsigned flags) {
  static constexpr std::pair<unsigned, const char*> words[] = {
      {link_flag_late, "it got an edge too late, because the bench was too slow"},
      {link_flag_underrun, "it ran out of pulses, because the bench was too slow"},
      {link_flag_overrun, "bytes or pulses came faster than it could take them"},
      {link_flag_watchdog, "it heard nothing from the bench for 1 s"},
      {link_flag_link, "a message to it was damaged or lost"},
      {link_flag_bad_train, "it could not read what it should play"}};
  std::string out;
  for (const auto& [flag, text] : words) {
    if (!(flags & flag)) continue;
    if (!out.empty()) out += "; ";
    out += text;
  }
  return out;
}

}  // namespace

BoardSession::BoardSession(const BoardSettings& settings, std::unique_ptr<HostClock> clock)
    : settings_(settings), connection_(settings.port, std::move(clock)) {
  for (const ResolvedWire& wire : settings.wires) {
    const std::optional<unsigned> input = board_input(wire.channel);
    if (connection_.hello().inputs == 0)
      throw std::invalid_argument(
          "the board says that it has no inputs, so it cannot watch a lamp: flash its firmware again, or "
          "have "
          "the board checked");
    if (!input || *input >= connection_.hello().inputs)
      throw std::invalid_argument(fmt::format("the board has no channel '{}'; it has in0 to in{}",
                                              wire.channel, connection_.hello().inputs - 1));
    wires_.emplace_back(*input, wire.lights);
  }
  connection_.on_frame([this](const LinkFrame& frame) { handle(frame); });
}

std::uint8_t BoardSession::wired_inputs() const {
  unsigned out = 0;
  for (const auto& [input, lights] : wires_) out |= 1u << input;
  return static_cast<std::uint8_t>(out);
}

Channels BoardSession::lit(std::uint8_t inputs) const {
  Channels out = 0;
  for (const auto& [input, lights] : wires_) {
    const bool high = ((inputs >> input) & 1) != 0;
    if (high == settings_.active_high) out |= lights;
  }
  return out;
}

Nanos BoardSession::run_time(LinkTicks at) const {
  return true_time(settings_.clock, (static_cast<Nanos>(at) - static_cast<Nanos>(*zero_)) * link_tick_ns);
}

Nanos BoardSession::heard_until() const { return status_ ? run_time(status_->seen_until) : Nanos{-1}; }

// ---- what the board says ----------------------------------------------------

// Frames arrive inside the connection's handlers, so that a contradiction is
// only noted here and thrown by check().
void BoardSession::contradiction(std::string what) {
  if (contradiction_.empty()) contradiction_ = "the board on " + settings_.port + " " + std::move(what);
}

void BoardSession::check() const {
  if (!contradiction_.empty()) throw RigError(contradiction_);
}

void BoardSession::handle(const LinkFrame& frame) {
  bool understood = true;
  if (frame.type == link_armed) {
    armed_ = understood = parse_ticks(frame.payload).has_value();
  } else if (frame.type == link_started) {
    const std::optional<LinkTicks> zero = parse_ticks(frame.payload);
    understood = zero.has_value();
    if (zero_ && zero && *zero != *zero_) contradiction("has begun the run twice: run again");
    if (!zero_) zero_ = zero;
  } else if (frame.type == link_credit) {
    const auto credit = parse_credit(frame.payload);
    understood = credit.has_value();
    if (credit && !ledger_.taken(*credit))
      contradiction("has not played the pulses that it was sent: run again");
  } else if (frame.type == link_lamps) {
    const auto lamps = parse_lamps(frame.payload);
    understood = lamps.has_value();
    if (lamps) handle(*lamps);
  } else if (frame.type == link_status) {
    const auto status = parse_status(frame.payload);
    understood = status.has_value();
    if (status) handle(*status);
  } else {
    understood = false;
  }
  if (!understood)
    contradiction(
        fmt::format("sent a message of type {:#x} that this program does not know: flash the "
                    "firmware that came with the program",
                    frame.type));
}

void BoardSession::handle(const LinkLamps& lamps) {
  stamps_.insert(stamps_.end(), lamps.stamps.begin(), lamps.stamps.end());
  if (heard_ && zero_)
    for (const LinkStamp& stamp : lamps.stamps) heard_({run_time(stamp.at), lit(stamp.inputs)});
  count_lost(lamps.lost);
}

void BoardSession::handle(const LinkStatus& status) {
  status_ = status;
  if (!begun_) return;
  count_lost(status.lost);
  check_clock(status.seen_until);
  if (!ledger_.taken(status.taken) || !ledger_.edges_agree(status.edges))
    return contradiction("has not played the pulses that it was sent: run again");
  // Once all that there was has been played, an empty queue is no fault yet.
  if (status.flags == link_flag_underrun && ledger_.outstanding() == 0 && queue_.empty()) {
    dry_ = true;
    return;
  }
  if (status.flags != 0)
    return contradiction("has stopped: " + describe_flags(status.flags) +
                         ". Check its cable, close other programs, and run again");
  if (zero_ && ledger_.outstanding() > 0 && status.seen_until > *zero_ + ledger_.taken_ticks() + stuck_after)
    return contradiction("has stopped playing without saying so: run again");
  const int expected = zero_ ? link_state_running : link_state_armed;
  if (status.state != expected && !dry_) contradiction("has left the run by itself: run again");
}

void BoardSession::check_clock(LinkTicks seen_until) {
  clock_check_.reading(connection_.now(),
                       true_time(settings_.clock, static_cast<Nanos>(seen_until) * link_tick_ns));
  if (const auto error = clock_check_.bad_by())
    contradiction(fmt::format("has a clock that is {:.2f} % off: use a board with a crystal", 100 * *error));
}

void BoardSession::count_lost(std::uint16_t reported) {
  lost_new_ += static_cast<std::uint16_t>(reported - lost_reported_);
  lost_reported_ = reported;
}

// ---- the run ------------------------------------------------------------------

void BoardSession::begin() {
  if (begun_) return;  // the other end has
  connection_.greet();
  if (const unsigned room = connection_.hello().queue_entries; room < link_max_entries)
    throw RigError(
        fmt::format("the board on {} says that it can hold {} pulses to come, and {} are needed: flash its "
                    "firmware again, or "
                    "have the board checked",
                    settings_.port, room, link_max_entries));
  armed_ = false;
  zero_.reset();
  status_.reset();
  clock_check_ = {};
  dry_ = false;
  contradiction_.clear();
  encoder_ = {};
  ledger_ = {};
  queue_.clear();
  stamps_.clear();
  shown_.reset();
  lost_reported_ = 0;
  lost_new_ = 0;
  const auto pulse_ticks =
      std::clamp<Nanos>(settings_.pulse / link_tick_ns, link_min_ticks / 2, link_max_ticks / 2);
  connection_.send(link_arm, arm_payload(static_cast<std::uint16_t>(pulse_ticks), wired_inputs()));
  connection_.wait_for([this] { return armed_; }, ready_within, "did not get ready");
  encoder_.outputs(0, link_output_sync_lamp);
  begun_ = true;
}

void BoardSession::start() {
  if (zero_) return;
  feed();
  connection_.send(link_start);
  connection_.wait_for([this] { return zero_.has_value(); }, ready_within, "did not start to play");
  check();
}

// As many entries as the board has room for.
void BoardSession::feed() {
  const std::size_t room = connection_.hello().queue_entries;
  while (!queue_.empty() && ledger_.outstanding() < room) {
    const std::size_t free = room - ledger_.outstanding();
    const std::size_t n = std::min({link_max_entries, queue_.size(), free});
    // Frames are kept full while there is more: the line has little to spare.
    if (n < link_max_entries && n < queue_.size() && free < room / 2) return;
    const std::vector<std::uint16_t> entries(queue_.begin(), queue_.begin() + static_cast<std::ptrdiff_t>(n));
    queue_.erase(queue_.begin(), queue_.begin() + static_cast<std::ptrdiff_t>(n));
    ledger_.sent(entries);
    connection_.send(link_train, train_payload(entries));
  }
}

// One turn of waiting: ask now and then, feed, see what comes.
void BoardSession::step(Nanos until) {
  const Nanos now = connection_.now();
  if (now >= asked_ + status_every) {
    connection_.send(link_query);
    asked_ = now;
  }
  connection_.let_pass(std::min(until, asked_ + status_every));
  feed();
  check();
  run_errands();
}

// A question that was asked in between has been answered when this is over.
Nanos BoardSession::no_later() {
  const Nanos long_enough = connection_.now() + 3 * status_every;
  while (connection_.now() < long_enough) step(long_enough);
  return heard_until();
}

// The board has a quarter of a second of train, and its watchdog waits for a whole one.
void BoardSession::run_errands() {
  if (errands_ == nullptr || on_an_errand_ || !zero_ || !begun_) return;
  on_an_errand_ = true;
  try {
    if (errands_->next() <= heard_until())
      errands_->run([this] { return no_later(); });
    else
      errands_->spare(ns_per_s / 10);
  } catch (...) {
    on_an_errand_ = false;
    throw;
  }
  on_an_errand_ = false;
}

void BoardSession::play(const PulseBlock& block) {
  std::vector<Nanos> pulses(block.pulses.begin(), block.pulses.end());
  for (Nanos& pulse : pulses) pulse = board_time(settings_.clock, pulse);
  std::vector<std::uint16_t> entries;
  encoder_.block(pulses, board_time(settings_.clock, block.until), entries);
  if (entries.empty()) return;
  step(connection_.now());
  if (dry_) {
    throw RigError(fmt::format(
        "the board on {} ran out of pulses at {:.3f} s, because the bench was too slow: close other "
        "programs, and "
        "run again",
        settings_.port,
        to_seconds(true_time(settings_.clock, static_cast<Nanos>(ledger_.taken_ticks()) * link_tick_ns))));
  }
  queue_.insert(queue_.end(), entries.begin(), entries.end());
  feed();
  const bool enough = static_cast<Nanos>(encoder_.end()) * link_tick_ns >= start_with;
  if (enough || !queue_.empty()) start();
  while (!queue_.empty()) step(connection_.now() + status_every);
}

bool BoardSession::can_press(const std::string& action) const {
  const auto end = settings_.actions.begin() +
                   static_cast<std::ptrdiff_t>(std::min<std::size_t>(2, settings_.actions.size()));
  return std::find(settings_.actions.begin(), end, action) != end;
}

void BoardSession::press(const Press& press, Nanos at) {
  const auto place = std::find(settings_.actions.begin(), settings_.actions.end(), press.action);
  const unsigned output = 1u << (place - settings_.actions.begin());
  encoder_.outputs(board_time(settings_.clock, at), link_output_sync_lamp | output);
  encoder_.outputs(board_time(settings_.clock, at + press.lasts), link_output_sync_lamp);
}

void BoardSession::power_off(Nanos lasts, Nanos at) {
  encoder_.outputs(board_time(settings_.clock, at), link_output_sync_lamp | link_output_supply_off);
  encoder_.outputs(board_time(settings_.clock, at + lasts), link_output_sync_lamp);
}

Seen BoardSession::collect(Nanos until, std::vector<LampEvent>& out) {
  start();
  const Nanos delay = connection_.hello().stamp_delay_ns;
  // A stamp may still be due that much later than the change that it is of.
  const Nanos slack = delay + connection_.hello().stamp_spread_ns;
  const auto vouched = [&] { return status_ ? heard_until() - slack : Nanos{-1}; };
  while (vouched() < until)
    step(connection_.now() + std::clamp<Nanos>(until - vouched(), ns_per_ms, status_every));

  while (!stamps_.empty()) {
    const Nanos at = std::max<Nanos>(run_time(stamps_.front().at) - delay, 0);
    if (at > until) break;
    const Channels now = lit(stamps_.front().inputs);
    stamps_.pop_front();
    if (shown_ == now) continue;
    // What the lamps did before the run is of no interest, what they ended at is.
    if (at == 0 && !out.empty() && out.back().at == 0) out.pop_back();
    out.push_back({at, now});
    shown_ = now;
  }
  Seen seen;
  seen.until = until;
  seen.lost = std::exchange(lost_new_, 0);
  if (seen.lost > 0)
    seen.lost_why = fmt::format("the board lost {} stamps: the lamps changed too fast for it", seen.lost);
  return seen;
}

Nanos BoardSession::attend() {
  start();
  step(connection_.now() + attend_for);
  return heard_until();
}

void BoardSession::end() noexcept {
  if (!begun_) return;
  begun_ = false;
  try {
    status_.reset();
    connection_.send(link_stop);
    connection_.wait_for([this] { return status_ && status_->state == link_state_idle; }, ready_within, "");
  } catch (const std::exception&) {
    // The board's own watchdog ends what we cannot.
  }
}

SourceFacts BoardSession::source_facts() const {
  const LinkHello& hello = connection_.hello();
  SourceFacts facts;
  facts.kind = "board";
  facts.description = fmt::format("board on {}, firmware {}.{} (build {:08x})", settings_.port,
                                  hello.firmware_major, hello.firmware_minor, hello.build_id);
  const ClockSetting& clock = settings_.clock;
  if (!clock.calibrated.empty())
    facts.description +=
        fmt::format(", clock calibrated {}: {:+.2f} ppm taken out", clock.calibrated, clock.fast_ppm);
  facts.tick = link_tick_ns;
  facts.clock_ppm = clock.uncertainty_ppm;
  if (settings_.supply) {
    facts.switch_from = settings_.supply->from;
    facts.switch_to = settings_.supply->to;
    facts.description += fmt::format(", switches the unit's supply {} to {} ms after its output",
                                     to_ms(facts.switch_from), to_ms(facts.switch_to));
  }
  return facts;
}

WatcherFacts BoardSession::watcher_facts() const {
  const LinkHello& hello = connection_.hello();
  WatcherFacts facts;
  facts.kind = "board";
  facts.description = fmt::format("{} inputs of the board on {}", wires_.size(), settings_.port);
  facts.resolution = link_tick_ns;
  // Late by 0 to the whole spread, as if all places were alike (GUM 4.3.7). Nearly all stamps are early in
  // it, so its mean is not taken off, and the root of the mean square counts.
  facts.stamp_uncertainty = static_cast<Nanos>(hello.stamp_spread_ns / std::numbers::sqrt3);
  for (const auto& [input, lights] : wires_) facts.wired |= lights;
  return facts;
}

}  // namespace tachproof

#include "tests/emulated_board/direct_host.h"

#include <algorithm>
#include <stdexcept>
#include <string>

namespace tachproof {

TrainEdges edges_of(const std::vector<std::uint16_t>& entries, std::uint16_t pulse_ticks) {
  TrainEdges out;
  Cycles at = 0;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const Cycles ticks = entries[i] & link_max_ticks;
    if (ticks < link_min_ticks) continue;
    at += ticks * cycles_per_tick;
    if (entries[i] & link_entry_wait) continue;
    out.rising.push_back(at);
    Cycles width = pulse_ticks;
    const Cycles next = i + 1 < entries.size() ? entries[i + 1] & link_max_ticks : 0u;
    if (next >= link_min_ticks) width = std::min(width, next / 2);
    out.falling.push_back(at + width * cycles_per_tick);
  }
  return out;
}

std::vector<std::uint16_t> even_train(std::size_t pulses, std::uint16_t ticks) {
  std::vector<std::uint16_t> out(pulses, ticks);
  out.push_back(link_entry_end);
  return out;
}

DirectHost::DirectHost() : board(TACHPROOF_BOARD_ELF) {}

void DirectHost::send(std::uint8_t type, const std::vector<std::uint8_t>& payload) {
  if (type == link_ask_hello) sequence_ = 0;
  board.send(encode({type, sequence_++, payload}));
}

void DirectHost::run_for(Nanos time) {
  board.run_until(board.cycle() + cycles_of(time));
  const std::vector<std::uint8_t> bytes = board.take_sent();
  std::span<const std::uint8_t> rest(bytes);
  while (!rest.empty()) {
    LinkDecoder::Step step = decoder_.take(rest);
    rest = rest.subspan(step.used);
    if (step.damaged) ++damaged;
    if (!step.frame) continue;
    if (step.frame->type == link_hello) expected_ = step.frame->sequence;
    if (step.frame->sequence != expected_) ++out_of_turn;
    expected_ = static_cast<std::uint8_t>(step.frame->sequence + 1);
    frames.push_back(std::move(*step.frame));
  }
}

std::size_t DirectHost::count(std::uint8_t type) const {
  return static_cast<std::size_t>(std::count_if(
      frames.begin(), frames.end(), [type](const LinkFrame& frame) { return frame.type == type; }));
}

const LinkFrame* DirectHost::last(std::uint8_t type) const {
  const auto at = std::find_if(frames.rbegin(), frames.rend(),
                               [type](const LinkFrame& frame) { return frame.type == type; });
  return at == frames.rend() ? nullptr : &*at;
}

const LinkFrame& DirectHost::await(std::uint8_t type) {
  const std::size_t before = count(type);
  for (int ms = 0; ms < 1000; ++ms) {
    run_for(ns_per_ms);
    if (count(type) > before) return *last(type);
  }
  throw std::runtime_error("no answer of type " + std::to_string(type));
}

LinkHello DirectHost::hello() {
  run_for(2 * ns_per_ms);  // the board greets by itself first
  send(link_ask_hello, ask_hello_payload());
  return parse_hello(await(link_hello).payload).value();
}

LinkTicks DirectHost::arm(std::uint16_t pulse_ticks, std::uint8_t wired) {
  send(link_arm, arm_payload(pulse_ticks, wired));
  return parse_ticks(await(link_armed).payload).value();
}

LinkStatus DirectHost::status() {
  send(link_query);
  return parse_status(await(link_status).payload).value();
}

LinkTicks DirectHost::play(const std::vector<std::uint16_t>& entries, Nanos ask_every) {
  constexpr std::size_t queue_entries = 255;
  std::size_t sent = 0, taken = 0;
  const auto fill = [&] {
    while (sent < entries.size()) {
      const std::size_t n =
          std::min({link_max_entries, entries.size() - sent, queue_entries - (sent - taken)});
      // A short frame costs the wire as much besides its entries as a full one.
      if (n == 0 || (n < link_max_entries && n < entries.size() - sent)) return;
      send(link_train, train_payload(std::span(entries).subspan(sent, n)));
      sent += n;
    }
  };
  fill();
  send(link_start);
  std::size_t read = frames.size();
  LinkTicks zero = 0;
  Nanos asked = 0;
  for (Nanos now = 0;; now += ns_per_ms) {
    run_for(ns_per_ms);
    for (; read < frames.size(); ++read) {
      const LinkFrame& frame = frames[read];
      if (frame.type == link_started) zero = parse_ticks(frame.payload).value();
      std::optional<LinkCredit> credit;
      if (frame.type == link_credit) credit = parse_credit(frame.payload);
      if (frame.type == link_status) {
        const LinkStatus status = parse_status(frame.payload).value();
        if (status.state == link_state_ended || status.state == link_state_stopped) return zero;
        credit = status.taken;
      }
      if (credit) taken += static_cast<std::uint16_t>(credit->entries_taken - taken);
    }
    fill();
    if (now - asked >= ask_every) {
      send(link_query);
      asked = now;
    }
  }
}

std::vector<LinkStamp> DirectHost::stamps() const {
  std::vector<LinkStamp> out;
  for (const LinkFrame& frame : frames) {
    if (frame.type != link_lamps) continue;
    const LinkLamps lamps = parse_lamps(frame.payload).value();
    out.insert(out.end(), lamps.stamps.begin(), lamps.stamps.end());
  }
  return out;
}

}  // namespace tachproof

// The bench's board: ATmega328P at 16 MHz. README.md has the pins and the
// link; player.cc makes the edges, watcher.cc takes the stamps.
//
// Handlers do only what cannot wait; frames are read, answered and sent here.

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <util/atomic.h>

#include "build_id.h"
#include "clock.h"
#include "link.h"
#include "player.h"
#include "protocol.h"
#include "uart.h"
#include "watcher.h"

namespace {

const uint8_t firmware_major = 1;
const uint8_t firmware_minor = 2;
// Counted and measured, see "Stamps" in README.md.
const uint16_t stamp_delay_ns = 2000;
const uint16_t stamp_spread_ns = 17000;

const uint8_t watchdog_overflows = link_watchdog_ms * 1000UL / 32768 + 1;

bool watching;
uint16_t credited;
uint8_t heard;           // low byte of the overflow count at the last sound frame
uint8_t reported_state;  // the host has been told of this one
Ticks48 armed_at, started_at;
// Answers that wait for room on the line.
enum Answer : uint8_t { answer_hello = 1, answer_armed = 2, answer_started = 4, answer_status = 8 };
uint8_t owed;

Ticks48 clock_now() {
  ClockReading now;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { now = clock_read(); }
  return clock_ticks(now);
}

void add_ticks(const Ticks48& ticks) {
  link_add32(ticks.low);
  link_add16(ticks.high);
}

bool in_run(uint8_t state) { return state == link_state_armed || state == link_state_running; }

void take_train(const Frame& frame, uint8_t state) {
  if (!in_run(state)) return;
  const uint8_t entries = frame.length / 2;
  if (entries > player_room()) {
    player_stop(link_flag_overrun);
    return;
  }
  const uint8_t* at = frame.payload;
  for (uint8_t i = 0; i < entries; ++i, at += 2) player_push(static_cast<uint16_t>(at[0] | (at[1] << 8)));
}

void arm(const Frame& frame) {
  if (frame.length != 3) return;
  player_arm(static_cast<uint16_t>(frame.payload[0] | (frame.payload[1] << 8)));
  armed_at = clock_now();
  watcher_arm(frame.payload[2]);
  watching = true;
  credited = 0;
  reported_state = link_state_armed;
  owed = answer_armed;
}

void handle(const Frame& frame) {
  const uint8_t state = player_state().state;
  switch (frame.type) {
    case link_ask_hello:
      player_stop(0);
      watcher_stop();
      watching = false;
      reported_state = link_state_idle;
      owed = answer_hello;
      break;
    case link_arm: arm(frame); break;
    case link_train: take_train(frame, state); break;
    case link_start:
      if (state != link_state_armed) break;
      started_at = player_start();
      reported_state = link_state_running;
      owed |= answer_started;
      break;
    case link_outputs:
      if (state != link_state_running && frame.length == 1) player_set_outputs(frame.payload[0]);
      break;
    case link_query: owed |= answer_status; break;
    case link_stop:
      player_stop(0);
      watcher_stop();
      watching = false;
      reported_state = link_state_idle;
      owed |= answer_status;
      break;
  }
}

bool send_hello() {
  if (!link_begin(link_hello, link_hello_size)) return false;
  link_add8(link_protocol_version);
  link_add8(firmware_major);
  link_add8(firmware_minor);
  link_add32(build_id);
  link_add32(F_CPU);
  link_add8(8);
  link_add8(4);
  link_add16(player_capacity);
  link_add16(link_min_ticks);
  link_add16(stamp_delay_ns);
  link_add16(stamp_spread_ns);
  link_end();
  return true;
}

bool send_ticks(uint8_t type, const Ticks48& ticks) {
  if (!link_begin(type, 6)) return false;
  add_ticks(ticks);
  link_end();
  return true;
}

bool send_lamps() {
  uint8_t count = watcher_waiting();
  if (count > link_max_stamps) count = link_max_stamps;
  if (!link_begin(link_lamps, link_lamps_header + count * link_stamp_size)) return false;
  const Ticks48 now = clock_now();
  Stamp stamp = watcher_take();
  // The 32 bits of the first stamp may be from before the clock's last wrap.
  link_add16(stamp.ticks > now.low ? now.high - 1 : now.high);
  link_add16(watcher_lost());
  for (;;) {
    link_add32(stamp.ticks);
    link_add8(stamp.inputs);
    if (--count == 0) break;
    stamp = watcher_take();
  }
  link_end();
  return true;
}

bool send_credit(const PlayerState& now) {
  if (!link_begin(link_credit, link_credit_size)) return false;
  link_add16(now.entries_taken);
  link_add16(now.ticks_taken);
  link_end();
  credited = now.entries_taken;
  return true;
}

// The status vouches for every stamp before `seen`, so it goes out when none
// waits. A handler that has not run yet will read the clock later than this.
bool send_status(const PlayerState& now) {
  ClockReading seen;
  bool waiting = false;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    seen = clock_read();
    waiting = watcher_any_waiting();
  }
  if (waiting || !link_begin(link_status, link_status_size)) return false;
  link_add8(now.state);
  link_add8(now.flags);
  link_add16(now.entries_taken);
  link_add16(now.ticks_taken);
  link_add16(now.edges);
  link_add16(watcher_lost());
  add_ticks(clock_ticks(seen));
  link_add8(watcher_inputs());
  link_end();
  reported_state = now.state;
  return true;
}

// One answer at a time; each clears its bit once it is on its way.
void send_what_is_owed() {
  if (owed & answer_hello) {
    link_restart_sequence();
    if (send_hello()) owed &= static_cast<uint8_t>(~answer_hello);
    return;
  }
  if (owed & answer_armed) {
    if (send_ticks(link_armed, armed_at)) owed &= static_cast<uint8_t>(~answer_armed);
    return;
  }
  if (owed & answer_started) {
    if (send_ticks(link_started, started_at)) owed &= static_cast<uint8_t>(~answer_started);
    return;
  }
  // Before the lamps: however busy they are, the train must not run dry.
  const PlayerState now = player_state();
  if (now.state == link_state_running &&
      static_cast<uint16_t>(now.entries_taken - credited) >= link_credit_every) {
    send_credit(now);
    return;
  }
  if (watching && watcher_waiting()) {
    send_lamps();
    return;
  }
  // Asked for, or the player came to its end by itself.
  if ((owed & answer_status) || now.state != reported_state) {
    if (send_status(now)) owed &= static_cast<uint8_t>(~answer_status);
  }
}

uint8_t overflows_now() { return static_cast<uint8_t>(clock_overflows); }

void receive() {
  Frame frame;
  const bool got = link_receive(frame);
  // Both are asked, so that one does not hide the other until later.
  const bool overrun = uart_took_damage();
  const bool damaged = link_took_damage();
  if ((overrun || damaged) && in_run(player_state().state)) {
    player_stop(overrun ? link_flag_overrun : link_flag_link);
  }
  if (!got) return;
  heard = overflows_now();
  handle(frame);
}

void watch_the_host() {
  if (!in_run(player_state().state)) return;
  if (static_cast<uint8_t>(overflows_now() - heard) > watchdog_overflows) player_stop(link_flag_watchdog);
}

// The check and the sleep are one step: an interrupt in between would wake
// nobody.
void sleep_until_something_happens() {
  cli();
  const bool busy = !uart_idle() || owed || (watching && watcher_waiting());
  if (busy) {
    sei();
    return;
  }
  sleep_enable();
  sei();
  sleep_cpu();
  sleep_disable();
}

}  // namespace

int main() {
  clock_begin();
  uart_begin();
  player_begin();
  set_sleep_mode(SLEEP_MODE_IDLE);
  sei();
  link_send_delimiter();
  owed = answer_hello;
  for (;;) {
    receive();
    watch_the_host();
    send_what_is_owed();
    sleep_until_something_happens();
  }
}

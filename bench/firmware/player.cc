#include "player.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "protocol.h"

namespace {

// The queue's indices wrap with their type: 256 places, 255 entries.
uint16_t queue[256];
volatile uint8_t queue_head, queue_tail;

enum Due : uint8_t { due_rise, due_fall, due_wait };

volatile uint8_t state = link_state_idle;
volatile uint8_t flags;
uint16_t pulse_ticks;
uint16_t zero;       // compare value of the train's instant 0
uint16_t taken_end;  // and of the end of the last entry taken
uint16_t due;        // and of what comes next
uint8_t due_what;
uint16_t edges;
uint16_t entries_taken;  // queue_tail, extended by the main loop

const uint16_t start_lead_ticks = 4000;  // 2 ms

inline void connect_output() { TCCR1A = _BV(COM1A0); }  // toggle on match
inline void disconnect_output() { TCCR1A = 0; }         // the pin shows PORTB: low

// The compare unit remembers its level while disconnected; a forced match in
// clear mode makes it low again after a stop in mid-pulse.
inline __attribute__((always_inline)) void force_low() {
  TCCR1A = _BV(COM1A1);
  TCCR1C = _BV(FOC1A);
  disconnect_output();
  PORTB &= static_cast<uint8_t>(~_BV(PB1));
}

inline __attribute__((always_inline)) void set_outputs(uint8_t outputs) {
  if (outputs & link_output_press_1)
    PORTD |= _BV(PD4);
  else
    PORTD &= static_cast<uint8_t>(~_BV(PD4));
  if (outputs & link_output_press_2)
    PORTD |= _BV(PD5);
  else
    PORTD &= static_cast<uint8_t>(~_BV(PD5));
  if (outputs & link_output_sync_lamp)
    PORTB |= _BV(PB5);
  else
    PORTB &= static_cast<uint8_t>(~_BV(PB5));
  if (outputs & link_output_supply_off)
    PORTB |= _BV(PB0);
  else
    PORTB &= static_cast<uint8_t>(~_BV(PB0));
}

inline __attribute__((always_inline)) void finish(uint8_t new_state) {
  force_low();
  set_outputs(0);
  state = new_state;
}

inline __attribute__((always_inline)) void fail(uint8_t flag) {
  flags |= flag;
  finish(link_state_stopped);
}

// Takes entries up to the next one that lasts, and sets up its end.
inline __attribute__((always_inline)) void take_entry() {
  for (;;) {
    const uint8_t tail = queue_tail;
    if (tail == queue_head) return fail(link_flag_underrun);
    const uint16_t entry = queue[tail];
    queue_tail = tail + 1;
    const uint16_t ticks = entry & link_max_ticks;
    if (ticks >= link_min_ticks) {
      due = taken_end += ticks;
      if (entry & link_entry_wait) {
        due_what = due_wait;
        disconnect_output();
      } else {
        due_what = due_rise;
        connect_output();
      }
      return;
    }
    if (entry == link_entry_end) return finish(link_state_ended);
    if ((entry & ~link_outputs_all) != link_entry_outputs) return fail(link_flag_bad_train);
    set_outputs(entry & link_outputs_all);
  }
}

inline __attribute__((always_inline)) uint16_t pulse_width() {
  const uint8_t tail = queue_tail;
  if (tail != queue_head) {
    const uint16_t half = (queue[tail] & link_max_ticks) >> 1;
    if (half >= link_min_ticks / 2 && half < pulse_ticks) return half;
  }
  return pulse_ticks;
}

// Writes the compare value; false when its instant has already passed.
inline __attribute__((always_inline)) bool set_compare() {
  OCR1A = due;
  return static_cast<int16_t>(due - TCNT1) > 0;
}

}  // namespace

ISR(TIMER1_COMPA_vect) {
  if (state != link_state_running) return;
  // A match that was waiting when the train started belongs to the old value.
  if (static_cast<int16_t>(TCNT1 - due) < 0) return;

  if (due_what == due_rise) {
    ++edges;
    due += pulse_width();
    due_what = due_fall;
  } else {
    take_entry();
    if (state != link_state_running) return;
  }
  if (!set_compare()) fail(link_flag_late);
}

void player_begin() {
  DDRB |= _BV(PB0) | _BV(PB1) | _BV(PB5);
  DDRD |= _BV(PD4) | _BV(PD5);
  finish(link_state_idle);
  TIMSK1 |= _BV(OCIE1A);
}

void player_arm(uint16_t ticks) {
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    finish(link_state_armed);
    flags = 0;
    queue_head = queue_tail = 0;
    entries_taken = edges = 0;
    zero = taken_end = 0;
    pulse_ticks = ticks;
  }
}

Ticks48 player_start() {
  Ticks48 start;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    start = clock_ticks(clock_read());
    start.low += start_lead_ticks;
    if (start.low < start_lead_ticks) ++start.high;
    // Instant 0 is the end of a wait. The pin moves one tick after the counter
    // has reached the compare value.
    zero = taken_end = due = static_cast<uint16_t>(start.low - 1);
    due_what = due_wait;
    state = link_state_running;
    if (!set_compare()) fail(link_flag_late);
  }
  return start;
}

void player_stop(uint8_t flag) {
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    if (flag)
      fail(flag);
    else
      finish(link_state_idle);
  }
}

uint8_t player_room() { return static_cast<uint8_t>(queue_tail - queue_head - 1); }

void player_push(uint16_t entry) {
  const uint8_t head = queue_head;
  queue[head] = entry;
  queue_head = head + 1;
}

void player_set_outputs(uint8_t outputs) {
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { set_outputs(outputs); }
}

PlayerState player_state() {
  PlayerState now;
  uint8_t tail = 0;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    now.state = state;
    now.flags = flags;
    tail = queue_tail;
    now.ticks_taken = taken_end;
    now.edges = edges;
  }
  entries_taken += static_cast<uint8_t>(tail - static_cast<uint8_t>(entries_taken));
  now.entries_taken = entries_taken;
  now.ticks_taken -= zero;
  return now;
}

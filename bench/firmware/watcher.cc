#include "watcher.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "clock.h"
#include "uart.h"

namespace {

const uint8_t port_c_inputs = 0x3f;
const uint8_t port_d_inputs = 0xc0;

const uint8_t ring_size = 64;
struct Record {
  uint16_t low, high;  // ticks
  uint8_t inputs;
};
Record ring[ring_size];
volatile uint8_t ring_head, ring_tail;
volatile uint16_t lost;

inline uint8_t read_inputs() { return (PINC & port_c_inputs) | (PIND & port_d_inputs); }

// With interrupts off. The counter is read first: what comes before it delays
// the stamp.
inline __attribute__((always_inline)) void record_inputs() {
  const uint16_t low = TCNT1;
  const uint8_t inputs = read_inputs();
  const uint8_t head = ring_head;
  const uint8_t next = (head + 1) & (ring_size - 1);
  if (next == ring_tail) {
    lost = lost + 1;
    return;
  }
  Record& record = ring[head];
  record.low = low;
  record.high = clock_high_of(low);
  record.inputs = inputs;
  ring_head = next;
}

}  // namespace

ISR(PCINT1_vect) {
  record_inputs();
  uart_take_waiting();
}
ISR(PCINT2_vect, ISR_ALIASOF(PCINT1_vect));

void watcher_arm(uint8_t wired) {
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    PORTC = static_cast<uint8_t>(~wired) & port_c_inputs;
    PORTD = (PORTD & static_cast<uint8_t>(~port_d_inputs)) | (static_cast<uint8_t>(~wired) & port_d_inputs);
    PCMSK1 = wired & port_c_inputs;
    PCMSK2 = wired & port_d_inputs;
    PCICR = _BV(PCIE1) | _BV(PCIE2);
    ring_head = ring_tail = 0;
    lost = 0;
    record_inputs();
  }
}

void watcher_stop() { PCICR = 0; }

bool watcher_any_waiting() { return ring_head != ring_tail; }

uint8_t watcher_waiting() { return (ring_head - ring_tail) & (ring_size - 1); }

Stamp watcher_take() {
  const uint8_t tail = ring_tail;
  Stamp stamp;
  stamp.ticks = (static_cast<uint32_t>(ring[tail].high) << 16) | ring[tail].low;
  stamp.inputs = ring[tail].inputs;
  ring_tail = (tail + 1) & (ring_size - 1);
  return stamp;
}

uint16_t watcher_lost() {
  uint16_t count = 0;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { count = lost; }
  return count;
}

uint8_t watcher_inputs() { return read_inputs(); }

#include "clock.h"

#include <avr/interrupt.h>

volatile uint16_t clock_overflows;
volatile uint16_t clock_extension;

ISR(TIMER1_OVF_vect) {
  const uint16_t next = clock_overflows + 1;
  clock_overflows = next;
  if (next == 0) clock_extension = clock_extension + 1;
}

void clock_begin() {
  TCCR1A = 0;          // normal mode, outputs disconnected
  TCCR1B = _BV(CS11);  // 16 MHz / 8
  TIMSK1 |= _BV(TOIE1);
}

Ticks48 clock_ticks(const ClockReading& reading) {
  uint16_t high = reading.overflows;
  if ((reading.flags & _BV(TOV1)) && reading.low < 0x8000) ++high;
  Ticks48 now;
  now.low = (static_cast<uint32_t>(high) << 16) | reading.low;
  // The overflow that was waiting may be the one that carries.
  now.high = reading.extension + (high < reading.overflows ? 1 : 0);
  return now;
}

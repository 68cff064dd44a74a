#include "clock.h"

#include <avr/interrupt.h>

volatile uint32_t clock_overflows;

ISR(TIMER1_OVF_vect) { clock_overflows = clock_overflows + 1; }

void clock_begin() {
  TCCR1A = 0;          // normal mode, outputs disconnected
  TCCR1B = _BV(CS11);  // 16 MHz / 8
  TIMSK1 |= _BV(TOIE1);
}

Ticks48 clock_now() {
  const uint16_t low = TCNT1;
  uint32_t overflows = clock_overflows;
  if ((TIFR1 & _BV(TOV1)) && low < 0x8000) ++overflows;
  Ticks48 now;
  now.low = (overflows << 16) | low;
  now.high = static_cast<uint16_t>(overflows >> 16);
  return now;
}

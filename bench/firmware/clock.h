// Timer 1: free-running in ticks of 0.5 us, the one time base of edges and
// stamps. Interrupt handlers extend its 16 bits by the overflow count.
#pragma once

#include <avr/io.h>
#include <stdint.h>

struct Ticks48 {
  uint32_t low;
  uint16_t high;
};

void clock_begin();

// The clock read, not yet put together: whatever keeps interrupts off delays
// the stamps, so the sums come afterwards.
struct ClockReading {
  uint16_t low, overflows, extension;
  uint8_t flags;
};
Ticks48 clock_ticks(const ClockReading& reading);  // at any time

// Ticks above the counter's 16 bits: bits 16 to 31, and 32 to 47. In two
// halves, because handlers need the first alone, and soon.
extern volatile uint16_t clock_overflows;
extern volatile uint16_t clock_extension;

// The overflow count that belongs to `low`, a reading of TCNT1 taken with
// interrupts off: an overflow since then may still be waiting to be counted.
inline uint16_t clock_high_of(uint16_t low) {
  uint16_t high = clock_overflows;
  if ((TIFR1 & _BV(TOV1)) && low < 0x8000) ++high;
  return high;
}

inline __attribute__((always_inline)) ClockReading clock_read() {
  ClockReading reading;
  reading.low = TCNT1;
  reading.flags = TIFR1;
  reading.overflows = clock_overflows;
  reading.extension = clock_extension;
  return reading;
}

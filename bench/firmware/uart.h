// The serial port: two rings between the interrupt handlers and the main loop.
#pragma once

#include <avr/io.h>
#include <stdint.h>

void uart_begin();

bool uart_read(uint8_t& byte);  // false: nothing there
bool uart_idle();               // nothing received
// A byte was lost since the last call: the ring or the receiver was full, or
// a frame of bits was broken.
bool uart_took_damage();

uint8_t uart_room();  // bytes that may be put before the next commit
void uart_put(uint8_t offset, uint8_t byte);
void uart_commit(uint8_t count);  // sends the bytes put at offsets 0 .. count-1

// The receiving ring: as long as its indices reach, because a host may send a
// queue-full at once while answers are being made.
extern uint8_t uart_rx_ring[256];
extern volatile uint8_t uart_rx_head, uart_rx_tail;
extern volatile bool uart_damaged;

// With interrupts off. The receiver holds two bytes and waits for the third,
// 40 us; several handlers in a row may take as long. So the one that comes
// twice in a row takes what is there before it ends.
inline __attribute__((always_inline)) void uart_take_waiting() {
  for (;;) {
    const uint8_t status = UCSR0A;
    if (!(status & _BV(RXC0))) return;
    const uint8_t byte = UDR0;
    const uint8_t head = uart_rx_head;
    const uint8_t next = head + 1;
    if ((status & (_BV(FE0) | _BV(DOR0))) || next == uart_rx_tail) {
      uart_damaged = true;
    } else {
      uart_rx_ring[head] = byte;
      uart_rx_head = next;
    }
  }
}

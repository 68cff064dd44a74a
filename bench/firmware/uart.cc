#include "uart.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "protocol.h"

namespace {

const uint8_t tx_size = 128;
uint8_t tx_ring[tx_size];
volatile uint8_t tx_head, tx_tail;

}  // namespace

uint8_t uart_rx_ring[256];
volatile uint8_t uart_rx_head, uart_rx_tail;
volatile bool uart_damaged;

ISR(USART_RX_vect) { uart_take_waiting(); }

ISR(USART_UDRE_vect) {
  const uint8_t tail = tx_tail;
  if (tail == tx_head) {
    UCSR0B &= static_cast<uint8_t>(~_BV(UDRIE0));
    return;
  }
  UDR0 = tx_ring[tail];
  tx_tail = (tail + 1) & (tx_size - 1);
}

void uart_begin() {
  UCSR0A = _BV(U2X0);
  UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
  const uint16_t divisor = F_CPU / (8UL * link_baud) - 1;
  UBRR0H = static_cast<uint8_t>(divisor >> 8);
  UBRR0L = static_cast<uint8_t>(divisor);
  UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

bool uart_read(uint8_t& byte) {
  const uint8_t tail = uart_rx_tail;
  if (tail == uart_rx_head) return false;
  byte = uart_rx_ring[tail];
  uart_rx_tail = tail + 1;
  return true;
}

bool uart_idle() { return uart_rx_tail == uart_rx_head; }

bool uart_took_damage() {
  if (!uart_damaged) return false;
  uart_damaged = false;
  return true;
}

uint8_t uart_room() { return static_cast<uint8_t>(tx_tail - tx_head - 1) & (tx_size - 1); }

void uart_put(uint8_t offset, uint8_t byte) { tx_ring[(tx_head + offset) & (tx_size - 1)] = byte; }

void uart_commit(uint8_t count) {
  tx_head = (tx_head + count) & (tx_size - 1);
  // Not atomic, and need not be: a handler in between can only clear the bit
  // that this sets.
  UCSR0B |= _BV(UDRIE0);
}

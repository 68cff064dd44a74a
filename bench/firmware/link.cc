#include "link.h"

#include "uart.h"

namespace {

// Receiving: COBS is undone and the CRC is summed byte by byte, so that a
// frame costs nothing extra at its end.
uint8_t rx_frame[link_max_frame];
uint8_t rx_length;
uint16_t rx_crc = link_crc_start;
uint8_t rx_block;      // bytes left in the COBS block
bool rx_zero_follows;  // a zero stands between this block and the next
bool rx_too_long;
uint8_t rx_sequence;  // expected
bool damage;

void next_frame() {
  rx_length = 0;
  rx_crc = link_crc_start;
  rx_block = 0;
  rx_zero_follows = false;
  rx_too_long = false;
}

inline void take(uint8_t byte) {
  if (rx_length == link_max_frame) {
    rx_too_long = true;
    return;
  }
  rx_frame[rx_length++] = byte;
  rx_crc = link_crc_add(rx_crc, byte);
}

inline bool is_sound() {
  return !rx_too_long && rx_block == 0 && rx_crc == 0 && rx_length >= link_header + link_crc &&
         rx_frame[1] == rx_length - link_header - link_crc;
}

// Sending.
uint8_t tx_at;    // offset of the next byte on the wire
uint8_t tx_code;  // offset of the open COBS block's code byte
uint16_t tx_crc;
uint8_t tx_sequence;

void put(uint8_t byte) {
  if (byte != 0) {
    uart_put(tx_at++, byte);
    return;
  }
  uart_put(tx_code, tx_at - tx_code);
  tx_code = tx_at++;
}

}  // namespace

bool link_receive(Frame& frame) {
  uint8_t byte;
  while (uart_read(byte)) {
    if (byte == 0) {
      const bool empty = rx_length == 0 && rx_block == 0 && !rx_zero_follows;
      const bool sound = is_sound();
      frame.type = rx_frame[0];
      frame.length = rx_frame[1];
      frame.payload = rx_frame + link_header;
      next_frame();
      if (sound) {
        if (frame.type == link_ask_hello) rx_sequence = rx_frame[2];
        if (rx_frame[2] != rx_sequence) damage = true;
        rx_sequence = rx_frame[2] + 1;
        return true;
      }
      if (!empty) damage = true;
    } else if (rx_block == 0) {
      if (rx_zero_follows) take(0);
      rx_block = byte - 1;
      rx_zero_follows = byte != 0xff;
    } else {
      take(byte);
      --rx_block;
    }
  }
  return false;
}

bool link_took_damage() {
  const bool took = damage;
  damage = false;
  return took;
}

bool link_begin(uint8_t type, uint8_t length) {
  if (uart_room() < link_header + length + link_crc + 2) return false;
  tx_code = 0;
  tx_at = 1;
  tx_crc = link_crc_start;
  link_add8(type);
  link_add8(length);
  link_add8(tx_sequence++);
  return true;
}

void link_add8(uint8_t value) {
  tx_crc = link_crc_add(tx_crc, value);
  put(value);
}

void link_add16(uint16_t value) {
  link_add8(static_cast<uint8_t>(value));
  link_add8(static_cast<uint8_t>(value >> 8));
}

void link_add32(uint32_t value) {
  link_add16(static_cast<uint16_t>(value));
  link_add16(static_cast<uint16_t>(value >> 16));
}

void link_end() {
  const uint16_t crc = tx_crc;
  put(static_cast<uint8_t>(crc >> 8));
  put(static_cast<uint8_t>(crc));
  uart_put(tx_code, tx_at - tx_code);
  uart_put(tx_at++, 0);
  uart_commit(tx_at);
}

void link_restart_sequence() { tx_sequence = 0; }

void link_send_delimiter() {
  uart_put(0, 0);
  uart_commit(1);
}

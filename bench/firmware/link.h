// Frames over the serial port: COBS, CRC and sequence numbers.
#pragma once

#include <stdint.h>

#include "protocol.h"

struct Frame {
  uint8_t type;
  uint8_t length;
  const uint8_t* payload;  // until the next link_receive
};

// The next sound frame in turn; false when there is none yet.
bool link_receive(Frame& frame);
// Something was damaged or is missing since the last call.
bool link_took_damage();

// A frame under way: begin, add, end. begin says no when the port has no room
// for a whole frame of `length`.
bool link_begin(uint8_t type, uint8_t length);
void link_add8(uint8_t value);
void link_add16(uint16_t value);
void link_add32(uint32_t value);
void link_end();
void link_restart_sequence();
void link_send_delimiter();

// The serial port: two rings between the interrupt handlers and the main loop.
#pragma once

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

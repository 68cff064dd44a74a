// Watches eight inputs: in0..in5 on PC0..PC5, in6 and in7 on PD6 and PD7.
// Each change is stamped with the clock and queued.
#pragma once

#include <stdint.h>

struct Stamp {
  uint32_t ticks;
  uint8_t inputs;
};

// Watches the inputs in `wired` (the others get pull-ups and are not heard)
// and queues a first stamp that says how they stand now.
void watcher_arm(uint8_t wired);
void watcher_stop();

uint8_t watcher_waiting();  // stamps queued
bool watcher_any_waiting();
Stamp watcher_take();
uint16_t watcher_lost();  // since arm: there was no room
uint8_t watcher_inputs();

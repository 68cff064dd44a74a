// Plays the train on OC1A (PB1). Every edge, rising and falling, is made by
// the compare hardware; the handler only prepares the next one.
#pragma once

#include <stdint.h>

#include "clock.h"

const uint8_t player_capacity = 255;  // entries

void player_begin();

// Back to an empty queue, output low, presses released. The pulse lasts
// `pulse_ticks`, or half of the entry that follows when that is shorter.
void player_arm(uint16_t pulse_ticks);
// Instant 0 of the train is the returned one, a little ahead of now.
Ticks48 player_start();
// Output low, presses released, supply on; `flag` (of link_flag_..., or 0) is kept.
void player_stop(uint8_t flag);

uint8_t player_room();  // entries
void player_push(uint16_t entry);
void player_set_outputs(uint8_t outputs);

struct PlayerState {
  uint8_t state;  // link_state_...
  uint8_t flags;
  uint16_t entries_taken;  // all modulo 2^16, since arm
  uint16_t ticks_taken;
  uint16_t edges;
};
// To be asked at least once in 256 entries, which is 12 ms.
PlayerState player_state();

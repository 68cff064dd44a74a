/* The link between the bench and its board: what goes over the serial line.
 *
 * Shared by the firmware and the program; README.md beside this file says the
 * same in prose. Numbers are little-endian. Time is in ticks of 0.5 us since
 * the board's reset, unless a name says otherwise.
 *
 *   frame    type, length, sequence, payload[length], CRC high, CRC low
 *   on wire  COBS(frame), 0x00
 *
 * The CRC is CRC-16/CCITT-FALSE over type, length, sequence and payload; high
 * byte first, so that the CRC over a whole sound frame is 0. Each direction
 * counts its frames in `sequence`; a hello of either side is that side's
 * number 0.
 */
#ifndef TACHPROOF_BENCH_FIRMWARE_PROTOCOL_H
#define TACHPROOF_BENCH_FIRMWARE_PROTOCOL_H

#include <stdint.h>

enum {
  link_protocol_version = 3, /* 2: an output for the unit's supply; 3: longer frames, shorter intervals */
  link_baud = 500000,        /* 8N1: an exact divisor at 16 MHz */

  link_max_payload = 84, /* 42 entries or 16 stamps: 8 % of the wire goes into what is around them */
  link_header = 3,
  link_crc = 2,
  link_max_frame = link_header + link_max_payload + link_crc,
  link_max_on_wire = link_max_frame + 2 /* COBS code byte, 0x00 */
};

enum {
  link_tick_ns = 500,
  link_min_ticks = 88, /* 44 us: the shortest interval */
  link_max_ticks = 0x7fff,
  link_watchdog_ms = 1000, /* the host may be silent this long in a run */
  link_credit_every = 32   /* entries between two credits */
};

/* An entry of the train.
 *
 *   bit 15 clear, >= link_min_ticks   an active edge, so many ticks after the
 *                                     end of the entry before
 *   bit 15 set, rest as above         a wait without an edge
 *   link_entry_end                    the train ends here
 *   link_entry_outputs | outputs      sets the outputs, takes no time
 */
enum { link_entry_wait = 0x8000, link_entry_end = 0x0000, link_entry_outputs = 0x0010 };

/* Outputs, one bit each. All are 0 at reset, at the end of a run and whatever stops one: nothing is
 * pressed, and the unit has its supply. */
enum {
  link_output_press_1 = 1,
  link_output_press_2 = 2,
  link_output_sync_lamp = 4,
  link_output_supply_off = 8, /* set: the unit's supply is cut */
  link_outputs_all = 15
};

enum {
  /* host to board */
  link_ask_hello = 0x01, /* protocol u8 */
  link_arm = 0x02,       /* pulse ticks u16, wired inputs u8 */
  link_train = 0x03,     /* entries u16[] */
  link_start = 0x04,     /* */
  link_outputs = 0x05,   /* outputs u8; not in a run: there the train says it */
  link_query = 0x06,     /* answered by a status; also feeds the watchdog */
  link_stop = 0x07,      /* output low, presses released, supply on, back to idle */

  /* board to host */
  link_hello = 0x81,
  link_armed = 0x82,   /* now u48 */
  link_started = 0x83, /* instant 0 of the train u48 */
  link_credit = 0x84,  /* entries taken u16, ticks taken u16: modulo 2^16, since arm */
  link_lamps = 0x85,   /* extension u16, lost u16, stamps (u32, inputs u8)[] */
  link_status = 0x86
};

/* link_hello
 *   protocol u8: comes first in every version
 *   firmware version: major u8, minor u8
 *   build id u32
 *   clock u32, Hz
 *   inputs u8, outputs u8
 *   entries that the queue holds u16
 *   shortest interval u16, ticks
 *   stamp delay u16, ns: from a pin's change to its stamp, at least
 *   stamp spread u16, ns: how much later the stamp may be
 *
 * link_lamps
 *   the extension is the first stamp's bits 32 to 47; later stamps are later,
 *   so a smaller one is from after the clock's wrap. Lost: stamps that found no
 *   room, since arm. A stamp may say what the one before said.
 *
 * link_status
 *   state u8, flags u8
 *   entries taken u16, ticks taken u16
 *   edges played u16, modulo 2^16
 *   stamps lost u16
 *   seen until u48: every earlier stamp has been sent
 *   inputs u8
 */
enum {
  link_hello_size = 21,
  link_credit_size = 4,
  link_lamps_header = 4,
  link_stamp_size = 5,
  link_max_stamps = (link_max_payload - link_lamps_header) / link_stamp_size,
  link_status_size = 17
};

enum {
  link_state_idle = 0,
  link_state_armed = 1,
  link_state_running = 2,
  link_state_ended = 3,  /* the train's end was reached */
  link_state_stopped = 4 /* by a flag */
};

/* Each stops a run: output low, presses released, supply on. Kept until the next arm. */
enum {
  link_flag_late = 1,      /* an edge was set up after its instant */
  link_flag_underrun = 2,  /* the queue was empty in mid-train */
  link_flag_overrun = 4,   /* bytes or entries came faster than they could be taken */
  link_flag_watchdog = 8,  /* the host was silent */
  link_flag_link = 16,     /* a damaged or missing frame */
  link_flag_bad_train = 32 /* an entry that is none of the above */
};

enum { link_crc_start = 0xffff };

/* One byte more into a CRC-16/CCITT-FALSE: polynomial 0x1021, start 0xffff,
 * not reflected; "123456789" gives 0x29b1. */
static inline uint16_t link_crc_add(uint16_t crc, uint8_t byte) {
  crc = (uint16_t)((crc >> 8) | (crc << 8));
  crc = (uint16_t)(crc ^ byte);
  crc = (uint16_t)(crc ^ ((crc & 0xff) >> 4));
  crc = (uint16_t)(crc ^ (crc << 12));
  crc = (uint16_t)(crc ^ ((crc & 0xff) << 5));
  return crc;
}

#endif

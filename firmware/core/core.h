/* SPDX-License-Identifier: MIT */
/* The box: what a board calls. One instance; all state is static; nothing is allocated and nothing recurses.
 *
 * Every function marked [isr] is short and bounded, and may be called from an interrupt or with interrupts held off;
 * [isr] functions must not interrupt one another. core_poll is the main loop's. */
#ifndef LOOMPROOF_CORE_H
#define LOOMPROOF_CORE_H

#include <stdbool.h>
#include <stdint.h>

#include "hal.h"

/* [main, interrupts off] Start with every output off, nothing armed, no session, no configuration.
 * `board` must live as long as the core. `by_watchdog`: the last reset came from the watchdog (the box starts
 * stopped, reason watchdog). */
void core_init(const struct hal_board *board, bool by_watchdog);

/* [isr] A byte from the line. A whole stop frame switches everything off before this returns. */
void core_rx_byte(uint8_t byte);

/* [isr] The line lost a byte (UART overrun or framing error); the frame it was in is dropped by its CRC. */
void core_rx_lost(void);

/* [isr] Every 1 ms (2000 ticks), from a timer that the main loop cannot hold up: heartbeat, arming, supply and stop
 * input are judged here and act on the outputs here. */
void core_tick_1ms(void);

/* Edges, over-current and sets are reported in the order in which they happened, which may be some time ago. */

/* [isr] A planned edge was carried out. */
void core_edge_isr(void);

/* [isr] A sample was above the limit of its edge: the board switched everything off, at `off_ticks`. Of the set, the
 * range that was judged is valid, and the other one when the current is above the first one's scale. */
void core_over_current_isr(const struct hal_set *set, uint32_t off_ticks);

/* [isr] A set is complete. */
void core_set_isr(const struct hal_set *set);

/* [isr] Sets were missed between the last one reported and the next. */
void core_sets_lost_isr(uint8_t count);

/* [isr] The stop input opened or closed (pin change). Optional: core_tick_1ms looks too. */
void core_stop_input_isr(void);

/* [isr] The supply reading changed a lot. Optional: core_tick_1ms looks too. */
void core_supply_isr(void);

/* [main] Do what is to be done outside interrupts: answer requests, send events. Call it forever. */
void core_poll(void);

/* [any] The box is between activities and owes the line nothing: a board may sleep until the next interrupt. */
bool core_idle(void);

#endif

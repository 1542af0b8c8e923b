/* SPDX-License-Identifier: MIT */
/* What can stop the box on its own: heartbeat, supply, stop input, watchdog. The latched stop. */
#ifndef LOOMPROOF_GUARD_H
#define LOOMPROOF_GUARD_H

#include "hal.h"
#include "refusal.h"

void guard_reset(const struct hal_board *board, bool by_watchdog);

/* [isr] Outputs off, gates cut, latched. The main loop reports it. The first reason stays. */
void guard_stop(uint8_t reason);

/* [isr] The board itself is faulty: as guard_stop, but this reason takes the place of another, and is never cleared. */
void guard_fault(uint8_t reason);
bool guard_faulty(void);

/* [isr] Every ms: heartbeat, arming of the drive under way, stop input, supply, what of the board stands still. */
void guard_tick(uint32_t now_ticks);

/* [isr] Look at the stop input; at the supply. */
void guard_look_at_stop_input(void);
void guard_look_at_supply(void);

/* [isr] A heartbeat of this session. */
void guard_beat(void);

/* [main] A new session: no heartbeat yet; and something was said to the box. */
void guard_new_session(void);

/* [main] Whether heartbeats come. */
bool guard_alive(void);

/* [main] Refuse while stopped, without heartbeat, or without supply. */
struct refusal guard_check_ready(void);

/* [main] Report what happened in interrupts, and disarm what has run out. */
void guard_poll(void);

/* [any] Whether the box is stopped; why; how often it was since the start, modulo 256. */
bool guard_stopped(void);
uint8_t guard_reason(void);
uint8_t guard_stops(void);

/* [main] Leave the stop (the caller has looked at stop input and supply), unless the box has stopped more often than
 * was `seen`, or has not reported it yet; returns whether it did. */
bool guard_clear(uint8_t seen);

/* [main] Supply, mV; whether it is in range. */
uint16_t guard_supply_mv(void);
bool guard_supply_good(void);

/* [isr] ms since the start, modulo 2^32; counted by guard_tick. */
uint32_t guard_uptime_ms(void);

#endif

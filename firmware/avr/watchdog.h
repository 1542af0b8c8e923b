/* SPDX-License-Identifier: MIT */
/* What keeps the box safe when its main loop does not: the millisecond, which the main loop cannot hold up, and the
 * hardware watchdog. */
#ifndef WATCHDOG_H
#define WATCHDOG_H

#include <stdbool.h>
#include <stdint.h>

/* Notes what caused the reset and switches off the watchdog, which after its own reset stays on with its shortest time
 * (16 ms). To be called first of all. */
void watchdog_first(void);

/* Starts timer 2 at 1 ms and the watchdog at 120 ms. */
void watchdog_begin(void);

/* Only the main loop calls this, once per turn. */
void watchdog_feed(void);

/* Whether the watchdog caused the last reset. */
bool watchdog_was_cause(void);

/* Whether the stop contact is open. */
bool watchdog_stop_open(void);

/* Milliseconds that went by and were not yet attended to; watchdog_attended counts one as attended to. */
extern volatile uint8_t watchdog_milliseconds;
void watchdog_attended(void);

#endif

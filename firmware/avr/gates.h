/* SPDX-License-Identifier: MIT
 * The gate pins: the only place that switches a driver. Callable from interrupts. Channels count from 0. */
#ifndef GATES_H
#define GATES_H

#include <stdbool.h>
#include <stdint.h>

enum gate {
    GATE_OFF,   /* neither leg conducts */
    GATE_ON,    /* the lower leg, or the only one */
    GATE_UPPER, /* the upper leg of a half-bridge */
};

/* Makes every gate an output, off. */
void gates_begin(void);

/* Switches one channel. A leg that conducts is switched off before the other is switched on. */
void gates_set(uint8_t channel, enum gate gate);

/* Switches every channel off. */
void gates_all_off(void);

/* Gives the gate drivers their supply, or takes it. The stop contact, in series, can only take it. */
void gates_enable(bool enabled);

#endif

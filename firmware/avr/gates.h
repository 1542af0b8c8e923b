/* SPDX-License-Identifier: MIT */
/* The gate pins: the only place that switches a driver. Callable from interrupts. Channels count from 0. */
#ifndef GATES_H
#define GATES_H

#include <stdbool.h>
#include <stdint.h>
#include <util/atomic.h>

#include "board.h"

enum gate {
    GATE_OFF, /* neither leg conducts */
    GATE_ON, /* the lower leg, or the only one */
    GATE_UPPER, /* the upper leg of a half-bridge */
};

/* A switching made ready, so that it takes the same few cycles whatever it is: a leg goes off first, then the other leg
 * goes off or on. */
struct gate_write {
#if BOARD_CHANNELS == 16
    volatile uint8_t *first;
    volatile uint8_t *second;
    uint8_t first_keep; /* pins of the first port that stay as they are */
#endif
    uint8_t second_keep;
    uint8_t second_set; /* pins of the second port that go on */
};

/* Pins that may go on: all of them, or none. */
extern volatile uint8_t gates_allowed;

/* Makes every gate an output, off. */
void gates_begin(void);

/* Makes ready to switch a channel; to switch nothing. */
void gates_prepare(struct gate_write *write, uint8_t channel, enum gate gate);
void gates_prepare_nothing(struct gate_write *write);

/* [interrupt] Switches. */
static inline void gates_do(const struct gate_write *write)
{
#if BOARD_CHANNELS == 16
    *write->first &= write->first_keep;
    volatile uint8_t *second = write->second;
#else
    volatile uint8_t *second = &PORTD;
#endif
    *second = (uint8_t)((*second & write->second_keep) | (write->second_set & gates_allowed));
}

/* Switches every channel off. */
#if BOARD_CHANNELS == 16
static inline void gates_all_off(void)
{
    PORTA = PORTC = PORTL = PORTK = 0;
}
#else
#define GATE_MASK 0xF0
static inline void gates_all_off(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        PORTD &= (uint8_t)~GATE_MASK;
    }
}
#endif

/* [interrupt] Forbids to switch on, whatever is asked, until gates_unbar. */
static inline void gates_bar(void)
{
    gates_allowed = 0;
}
void gates_unbar(void);

/* The same on top, for as long as the box is stopped. */
void gates_kill(bool killed);

/* Gives the gate drivers their supply or takes it away. */
void gates_enable(bool enabled);

#endif

/* SPDX-License-Identifier: MIT */
/* The serial line: bytes in and out through rings, by interrupts of a few microseconds. 8N1. */
#ifndef LINE_H
#define LINE_H

#include <avr/io.h>
#include <stdbool.h>
#include <stdint.h>

#include "board.h"
#include "deferred.h"

#ifndef LINE_BAUD
#define LINE_BAUD 250000UL
#endif

/* Bytes that came and are not yet taken; for line.c and line_attend. */
struct line_in {
    volatile uint8_t put, taken;
    volatile bool lost; /* a byte was, */
    volatile uint8_t lost_at; /* before the one at this place */
    uint8_t bytes[LINE_IN_BYTES];
};
extern struct line_in line_in;

/* [interrupt] Takes in the byte that the receiver holds. */
static inline void line_take_in(void)
{
    const uint8_t status = UCSR0A;
    const uint8_t put = line_in.put;
    const uint8_t next = (uint8_t)((put + 1U) % LINE_IN_BYTES);
    line_in.bytes[put] = UDR0;
    if (next != line_in.taken) {
        line_in.put = next;
    }
    if (next == line_in.taken || status & (_BV(DOR0) | _BV(FE0))) {
        line_in.lost = true;
        line_in.lost_at = put;
    }
    deferred_raise();
}

/* [interrupt] The same if there is one; for an interrupt that waits. */
static inline void line_attend(void)
{
    if (UCSR0A & _BV(RXC0)) {
        line_take_in();
    }
}

/* Opens the line. */
void line_begin(void);

/* [later] Whether a byte came, or was lost. */
static inline bool line_has(void)
{
    return line_in.put != line_in.taken || line_in.lost;
}

/* [later] Takes the next byte; false: one before it was lost or damaged. To be called only if line_has. */
bool line_get(uint8_t *byte);

/* [main] Takes bytes to be sent, as many as there is room for; returns how many. */
uint16_t line_send(const uint8_t *bytes, uint16_t size);

#endif

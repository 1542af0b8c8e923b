/* SPDX-License-Identifier: MIT */
/* Time in ticks of 0.5 us: timer 1, and the upper half of its count. */
#ifndef CLOCK_H
#define CLOCK_H

#include <avr/io.h>
#include <stdint.h>
#include <util/atomic.h>

/* Starts timer 1. */
void clock_begin(void);

/* Ticks since clock_begin, modulo 2^32. Callable from anywhere. */
uint32_t clock_now(void);

/* The same without a call, and what it reads: how often the timer went over, and its count when that was kept last. */
extern volatile uint16_t clock_high_word;
extern volatile uint16_t clock_last_low;

static inline uint32_t clock_read(void)
{
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        const uint16_t low = TCNT1;
        const uint16_t high = (uint16_t)(clock_high_word + (low < clock_last_low ? 1U : 0U));
        now = (uint32_t)high << 16 | low;
    }
    return now;
}

/* The whole tick count of an instant at most 30 ms ago, from its lower half. */
uint32_t clock_whole(uint16_t low);

/* Keeps the upper half of the tick count; to be called at least every 30 ms. */
void clock_keep_count(void);

#endif

/* SPDX-License-Identifier: MIT */
#include "clock.h"

#include <avr/io.h>
#include <util/atomic.h>

volatile uint16_t clock_high_word;
volatile uint16_t clock_last_low;

void clock_begin(void)
{
    TCCR1B = _BV(CS11); /* 16 MHz / 8 */
}

uint32_t clock_now(void)
{
    return clock_read();
}

uint32_t clock_whole(uint16_t low)
{
    const uint32_t now = clock_now();
    return now - (uint16_t)((uint16_t)now - low);
}

void clock_keep_count(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        const uint16_t low = TCNT1;
        if (low < clock_last_low) {
            clock_high_word++;
        }
        clock_last_low = low;
    }
}

/* SPDX-License-Identifier: MIT */
#include "edges.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#define LATE_TICKS 6U /* nearer than this a compare value may be passed while it is written */

static volatile uint16_t high_word;
static volatile uint16_t last_low;
static volatile uint32_t planned_tick;

void edges_begin(void) {
    TCCR1B = _BV(CS11); /* 16 MHz / 8 */
}

uint32_t edges_now(void) {
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        const uint16_t low = TCNT1;
        const uint16_t high = (uint16_t)(high_word + (low < last_low ? 1U : 0U));
        now = (uint32_t)high << 16 | low;
    }
    return now;
}

void edges_keep_count(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        const uint16_t low = TCNT1;
        if (low < last_low)
            high_word++;
        last_low = low;
    }
}

void edges_plan(uint32_t tick) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        const uint32_t soonest = edges_now() + LEAD_TICKS + LATE_TICKS;
        if ((int32_t)(tick - soonest) < 0)
            tick = soonest;
        planned_tick = tick;
        OCR1A = (uint16_t)(tick - LEAD_TICKS);
        TIFR1 = _BV(OCF1A);
        TIMSK1 |= _BV(OCIE1A);
    }
}

void edges_cancel(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { TIMSK1 &= (uint8_t)~_BV(OCIE1A); }
}

ISR(TIMER1_COMPA_vect) {
    const uint32_t tick = planned_tick;
    if (tick - edges_now() > LEAD_TICKS)
        return; /* the compare value comes round every 32.8 ms; not yet this time */
    TIMSK1 &= (uint8_t)~_BV(OCIE1A);
    while ((int16_t)(TCNT1 - (uint16_t)tick) < 0)
        ;
    edges_due();
}

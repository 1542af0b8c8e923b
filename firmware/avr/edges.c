/* SPDX-License-Identifier: MIT */
#include "edges.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#define LATE_TICKS 6U /* nearer than this a compare value may be passed while it is written */

static volatile uint16_t high_word;
static volatile uint16_t last_low;
static volatile uint32_t planned_tick;

static volatile bool planned, in_edge;
static uint32_t edge_tick;

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
        const int32_t ahead = (int32_t)(tick - edges_now());
        uint32_t lead = ahead > 0 ? (uint32_t)ahead / LEAD_SHARE : 0;
        if (lead > LEAD_TICKS)
            lead = LEAD_TICKS;
        uint32_t wake = tick - lead;
        if (ahead < (int32_t)(lead + LATE_TICKS))
            wake = edges_now() + LATE_TICKS;
        planned_tick = tick;
        planned = true;
        OCR1A = (uint16_t)wake;
        TIFR1 = _BV(OCF1A);
        TIMSK1 |= _BV(OCIE1A);
    }
}

uint32_t edges_anchor(void) { return in_edge ? edge_tick : edges_now(); }

void edges_cancel(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        planned = false;
        TIMSK1 &= (uint8_t)~_BV(OCIE1A);
    }
}

/* Whether the planned edge is so near that it is waited for here. */
static bool near(uint32_t ticks) { return planned && (int32_t)(planned_tick - edges_now()) <= (int32_t)ticks; }

/* Waits for the planned edge and has it carried out. */
static void carry_out(void) {
    const uint32_t tick = planned_tick;
    const uint16_t ready = (uint16_t)(tick - PIN_TICKS);
    planned = false;
    TIMSK1 &= (uint8_t)~_BV(OCIE1A);
    while ((int16_t)(TCNT1 - ready) < 0)
        ;
    edge_tick = tick;
    in_edge = true;
    edges_due();
    in_edge = false;
}

ISR(TIMER1_COMPA_vect) {
    if (!near(LEAD_TICKS))
        return; /* the compare value comes round every 32.8 ms; not yet this time */
    carry_out();
    if (near(NEAR_TICKS))
        carry_out();
}

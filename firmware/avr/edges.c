/* SPDX-License-Identifier: MIT */
#include "edges.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#define LATE_TICKS 6U  /* nearer than this a compare value may be passed while it is written */
#define JUST_PASSED_TICKS 256U
#define SOON_TICKS 32U /* an edge nearer than this is gone to at once */

static volatile uint16_t high_word;
static volatile uint16_t last_low;
static volatile uint32_t planned_tick;

static volatile bool planned, replanned, in_edge, aside;
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

/* How long before the edge to wake up, for an edge `ahead` ticks away. */
static uint16_t lead_for(int32_t ahead) {
    if (ahead >= (int32_t)(LEAD_TICKS * LEAD_SHARE))
        return LEAD_TICKS;
    return ahead > 0 ? (uint16_t)ahead / LEAD_SHARE : 0;
}

/* Has the interrupt come when the counter reaches `wake`, or at once if that has passed meanwhile. */
static void wake_at(uint16_t wake) {
    TIFR1 = _BV(OCF1A);
    OCR1A = wake;
    if ((uint16_t)(TCNT1 - wake) < JUST_PASSED_TICKS && !(TIFR1 & _BV(OCF1A)))
        OCR1A = (uint16_t)(TCNT1 + LATE_TICKS);
    TIMSK1 |= _BV(OCIE1A);
}

void edges_plan(uint32_t tick) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        const int32_t ahead = (int32_t)(tick - edges_now());
        planned_tick = tick;
        planned = replanned = true;
        if (ahead < (int32_t)SOON_TICKS)
            wake_at((uint16_t)(TCNT1 + LATE_TICKS));
        else
            wake_at((uint16_t)((uint16_t)tick - lead_for(ahead)));
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

/* Ticks to the planned edge, when it is known to be near. */
static int16_t left(void) { return (int16_t)((uint16_t)planned_tick - TCNT1); }

/* Lets other interrupts run while there is time. They may cancel the edge or plan another. */
static void wait_aside(void) {
    aside = true;
    while (planned && !replanned && left() > (int16_t)QUIET_TICKS) {
        sei();
        __asm__ __volatile__("nop\n\tnop\n\tnop\n\tnop"); /* an interrupt comes in one instruction after sei at the earliest */
        cli();
    }
    aside = false;
}

/* Waits for the very tick of the planned edge and has it carried out. */
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
    if (aside || !near(LEAD_TICKS))
        return; /* the compare value comes round every 32.8 ms; not yet this time */
    TIMSK1 &= (uint8_t)~_BV(OCIE1A);
    replanned = false;
    wait_aside();
    if (!planned)
        return;
    if (replanned) {
        edges_plan(planned_tick);
        return;
    }
    carry_out();
    if (near(NEAR_TICKS))
        carry_out();
    edges_past();
}

bool edges_soon(void) { return near(SOON_FOR_LONG_TICKS); }

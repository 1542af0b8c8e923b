/* SPDX-License-Identifier: MIT */
/* The inside of the sampler, for its own interrupt and for that of the edges, which has no time for calls. */
#ifndef SAMPLER_STATE_H
#define SAMPLER_STATE_H

#include <avr/io.h>
#include <stdbool.h>
#include <stdint.h>

#include "board.h"
#include "sampler.h"
#include "sampler_phase.h"

#define AVCC_REFERENCE _BV(REFS0)
#define DIVIDE_BY_16 _BV(ADPS2)
#define IDLE (_BV(ADEN) | _BV(ADIE) | DIVIDE_BY_16)
#define START (IDLE | _BV(ADSC))
#define BY_MATCH (IDLE | _BV(ADATE)) /* a match of comparator B starts the conversion */
#define HOLD_ON_MATCH (_BV(COM1B1) | _BV(COM1B0))
#define TRACK_ON_MATCH _BV(COM1B1)
#define PHASES (_BV(PHASE_FIRST) | _BV(PHASE_SECOND) | _BV(PHASE_DRAIN) | _BV(PHASE_SUPPLY) | _BV(PHASE_DROP))
#define OTHER_CURRENT (INPUT_FINE ^ INPUT_WIDE)
#define SOONEST_TICKS 6
#define NO_LIMIT UINT16_MAX

/* Read and written with interrupts off. */
extern struct sampler_state {
    uint16_t limit; /* counts; NO_LIMIT: nothing is judged */
    uint8_t judged_input; /* current that it is for; to be converted first */
    uint8_t first_input; /* current that is or was converted first in the set under way */
    uint8_t drain_input;
    bool pulse; /* one is on */
    bool due; /* sets have begun; a current is to be judged */
    bool ending; /* with the sample that was taken last: the pulse is over */
    bool kept; /* sets go on for a trace */
    uint8_t wanted; /* not 0: sets are reported, */
    uint8_t every; /* this many-th of them, */
    uint8_t until; /* the next after so many */
    uint8_t lost; /* of those that would have been reported, since the last one that is */
    bool left_out; /* there is no time for the set after the one under way */
    bool over; /* the set under way was over the limit */
} sampler;

/* What is converted between sets. */
#define SAMPLER_NO_INPUT 0xFFU
extern uint8_t sampler_idle_input;

/* What isr_entry.S writes before anything else. */
extern volatile uint8_t sampler_next_admux, sampler_next_adcsra;

static inline void sampler_next(uint8_t input, uint8_t control)
{
    sampler_next_admux = AVCC_REFERENCE | input;
    sampler_next_adcsra = control;
}

static inline void sampler_be_at(uint8_t phases)
{
    GPIOR0 = (uint8_t)((GPIOR0 & (uint8_t)~PHASES) | phases);
}

/* Lets the hold switches track; the next match holds again. */
static inline void sampler_track(void)
{
    TCCR1A = TRACK_ON_MATCH;
    TCCR1C = _BV(FOC1B);
    TCCR1A = HOLD_ON_MATCH;
}

/* Sets begin anew with this hold, or as soon as can be. A conversion under way is not broken off, which would make the
 * next one slow: its result is dropped. */
static inline void sampler_begin_anew(const struct sampler_order *order)
{
    const uint8_t first = order->judged_input;
    const bool busy = ADCSRA & _BV(ADSC);
    ADMUX = AVCC_REFERENCE | first;
    ADCSRA = BY_MATCH | _BV(ADIF);
    sampler_track();
    uint16_t hold = order->hold;
    if ((int16_t)(hold - TCNT1) < SOONEST_TICKS) {
        hold = (uint16_t)(TCNT1 + SOONEST_TICKS);
    }
    OCR1B = hold;
    TIFR1 = _BV(OCF1B);
    ADDRESS_PORT = (uint8_t)((ADDRESS_PORT & (uint8_t)~ADDRESS_MASK) | order->address);
    if (busy) {
        sampler_be_at(_BV(PHASE_DROP));
        sampler_next(first, BY_MATCH);
    } else {
        sampler_be_at(_BV(PHASE_FIRST));
        sampler_next(first ^ OTHER_CURRENT, START);
    }
    sampler_idle_input = SAMPLER_NO_INPUT; /* of one that is done and not yet seen, too */
    sampler.first_input = first;
    sampler.drain_input = order->drain_input;
    sampler.wanted = order->does & SAMPLER_REPORT;
    sampler.every = order->every;
    sampler.until = 1;
    sampler.lost = 0;
    sampler.left_out = false;
    sampler.over = false;
    sampler.ending = false;
    sampler.due = true;
}

/* Whether the current of the set under way has been held and is still to be judged. */
static inline bool sampler_is_pending(void)
{
    return GPIOR0 & (_BV(PHASE_FIRST) | _BV(PHASE_DROP)) && (int16_t)(TCNT1 - OCR1B) > 0;
}

static inline void sampler_end(void)
{
    sampler_be_at(0);
    sampler_next(INPUT_SUPPLY, IDLE);
    ADCSRA = IDLE | _BV(ADIF);
}

/* No pulse is on any more. A current that was held in it is judged all the same, and ends the sets if they are to end.
 */
static inline void sampler_judge_no_more(bool ends)
{
    const bool pending = sampler_is_pending();
    sampler.pulse = false;
    if (!pending) {
        sampler.limit = NO_LIMIT;
    }
    if (ends && !sampler.kept) {
        if (pending) {
            sampler.ending = true;
        } else {
            sampler_end();
        }
    }
}

/* An edge was carried out. */
static inline void sampler_do(const struct sampler_order *order)
{
    const uint8_t does = order->does;
    if (does & SAMPLER_ANEW || (does & SAMPLER_ANEW_UNLESS_KEPT && !sampler.kept)) {
        sampler_begin_anew(order);
    }
    if (does & SAMPLER_JUDGE) {
        sampler.judged_input = order->judged_input;
        sampler.limit = order->limit;
        sampler.pulse = true;
    }
    if (does & SAMPLER_JUDGE_NO_MORE) {
        sampler_judge_no_more(does & SAMPLER_END_UNLESS_KEPT);
    }
    if (does & SAMPLER_KEEP) {
        sampler.kept = true;
    }
}

#endif

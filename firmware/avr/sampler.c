/* SPDX-License-Identifier: MIT */
#include "sampler.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdbool.h>
#include <util/atomic.h>

#include "board.h"
#include "edges.h"
#include "gates.h"

#define AVCC_REFERENCE _BV(REFS0)
#define DIVIDE_BY_16 _BV(ADPS2)
#define ENABLED (_BV(ADEN) | _BV(ADIE) | DIVIDE_BY_16)
#define HOLD_ON_MATCH (_BV(COM1B1) | _BV(COM1B0))
#define TRACK_ON_MATCH _BV(COM1B1)
#define JUST_PASSED_TICKS 1024U
#define SOONEST_TICKS 6U
#define HARD_WIDE_COUNTS 1020U     /* 20 A: off at once, whatever the channel's limit */
#define TEMPERATURE_EVERY 64U /* idle readings */

enum phase { PHASE_IDLE, PHASE_WAIT, PHASE_DRAIN, PHASE_SUPPLY, PHASE_WIDE, PHASE_FINE };

static volatile enum phase phase;
static volatile uint16_t latest_supply, latest_temperature;
static uint16_t set_wide, set_drain;
static uint8_t drain_input, idle_count, idle_input;
volatile uint16_t holds_missed; /* sets that are not in the trace; its times are late by them */
static volatile bool redo;    /* the conversion under way is not wanted any more */
static volatile bool overdue; /* the currents are held, and the converter was busy */

/* Lets the hold switches track; the next match holds again. */
static void track(void) {
    TCCR1A = TRACK_ON_MATCH;
    TCCR1C = _BV(FOC1B);
    TCCR1A = HOLD_ON_MATCH;
}

static void select(uint8_t input) { ADMUX = AVCC_REFERENCE | input; }

static void convert(uint8_t input) {
    select(input);
    ADCSRA |= _BV(ADSC);
}

void sampler_begin(void) {
    HOLD_DDR |= _BV(HOLD_BIT);
    ADDRESS_DDR |= ADDRESS_MASK;
    ADCSRB = 0;
    ADCSRA = _BV(ADEN) | DIVIDE_BY_16;
    convert(INPUT_SUPPLY);
    loop_until_bit_is_clear(ADCSRA, ADSC);
    latest_supply = ADC;
    ADCSRA = ENABLED | _BV(ADIF);
}

/* The first hold; one whose time went by while the core made ready is done at once. */
static void plan_hold(uint16_t tick) {
    TIFR1 = _BV(OCF1B);
    OCR1B = (uint16_t)(tick - 1U); /* a match shows one tick later */
    if ((uint16_t)(TCNT1 - tick) < JUST_PASSED_TICKS && !(TIFR1 & _BV(OCF1B)))
        OCR1B = (uint16_t)(TCNT1 + SOONEST_TICKS);
    TIMSK1 |= _BV(OCIE1B);
}

void sampler_start(uint8_t channel) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        redo = ADCSRA & _BV(ADSC); /* breaking it off would make the next one slow */
        overdue = false;
        ADDRESS_PORT = (uint8_t)((ADDRESS_PORT & (uint8_t)~ADDRESS_MASK) | (channel & ADDRESS_MASK));
        drain_input = (uint8_t)(INPUT_FIRST_DRAIN + channel / DRAINS_PER_INPUT);
        phase = PHASE_WAIT;
        ADCSRA = ENABLED | _BV(ADIF);
        track();
        plan_hold((uint16_t)(edges_anchor() + FIRST_SET_TICKS));
    }
}

void sampler_stop(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        TIMSK1 &= (uint8_t)~_BV(OCIE1B);
        redo = ADCSRA & _BV(ADSC);
        phase = PHASE_IDLE;
        ADCSRA = ENABLED | _BV(ADIF);
    }
}

void sampler_idle(void) {
    if (phase != PHASE_IDLE || ADCSRA & _BV(ADSC))
        return;
    idle_input = ++idle_count % TEMPERATURE_EVERY ? INPUT_SUPPLY : INPUT_TEMPERATURE;
    convert(idle_input);
}

uint16_t sampler_supply(void) {
    uint16_t counts;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { counts = latest_supply; }
    return counts;
}

uint16_t sampler_temperature(void) {
    uint16_t counts;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { counts = latest_temperature; }
    return counts;
}

static void finish_idle(uint16_t counts) {
    if (idle_input == INPUT_SUPPLY)
        latest_supply = counts;
    else
        latest_temperature = counts;
}

/* Converts what is held. When it begins does not matter: the hold was exact. */
static void begin_set(void) {
    if (phase != PHASE_WAIT || redo) {
        if (overdue)
            holds_missed++;
        overdue = true;
        return;
    }
    overdue = false;
    phase = PHASE_DRAIN;
    convert(drain_input);
}

/* The hold switches have just opened. */
ISR(TIMER1_COMPB_vect) {
    uint16_t next = (uint16_t)(OCR1B + SET_TICKS);
    while ((int16_t)(next - TCNT1) < (int16_t)SOONEST_TICKS) {
        next = (uint16_t)(next + SET_TICKS); /* that hold went by: this interrupt came a whole set late */
        holds_missed++;
    }
    OCR1B = next;
    begin_set();
}

ISR(ADC_vect) {
    const uint16_t counts = ADC;
    if (redo) {
        redo = false;
        if (overdue)
            begin_set();
        return;
    }
    switch (phase) {
    case PHASE_DRAIN:
        convert(INPUT_SUPPLY);
        phase = PHASE_SUPPLY;
        set_drain = counts;
        break;
    case PHASE_SUPPLY:
        convert(INPUT_WIDE);
        phase = PHASE_WIDE;
        latest_supply = counts;
        break;
    case PHASE_WIDE:
        convert(INPUT_FINE);
        phase = PHASE_FINE;
        set_wide = counts;
        if (counts >= HARD_WIDE_COUNTS)
            gates_all_off(); /* the core latches the trip when it sees the set */
        break;
    case PHASE_FINE:
        track();
        phase = PHASE_WAIT;
        sampler_current(counts, set_wide);
        sampler_rest(latest_supply, set_drain);
        if (overdue && phase == PHASE_WAIT)
            begin_set();
        break;
    default:
        finish_idle(counts);
        break;
    }
}

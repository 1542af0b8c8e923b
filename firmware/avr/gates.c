/* SPDX-License-Identifier: MIT */
#include "gates.h"

#include <avr/interrupt.h>
#include <util/atomic.h>

#include "board.h"

#define PER_PORT 8

/* A table: shifting takes a time that depends on the channel. */
static const uint8_t bits[PER_PORT] = {1, 2, 4, 8, 16, 32, 64, 128};

#if BOARD_CHANNELS == 16

void gates_begin(void) {
    gates_all_off();
    ENABLE_DDR |= _BV(ENABLE_BIT);
    DDRA = DDRC = DDRL = DDRK = 0xFF;
}

void gates_all_off(void) { PORTA = PORTC = PORTL = PORTK = 0; }

void gates_set(uint8_t channel, enum gate gate) {
    const uint8_t bit = bits[channel % PER_PORT];
    volatile uint8_t *lower = channel < PER_PORT ? &PORTA : &PORTC;
    volatile uint8_t *upper = channel < PER_PORT ? &PORTL : &PORTK;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (gate != GATE_ON)
            *lower &= (uint8_t)~bit;
        if (gate != GATE_UPPER)
            *upper &= (uint8_t)~bit;
        if (gate == GATE_ON)
            *lower |= bit;
        if (gate == GATE_UPPER)
            *upper |= bit;
    }
}

#else

#define FIRST_GATE 4
#define GATE_MASK 0xF0

void gates_begin(void) {
    gates_all_off();
    ENABLE_DDR |= _BV(ENABLE_BIT);
    DDRD |= GATE_MASK;
}

void gates_all_off(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { PORTD &= (uint8_t)~GATE_MASK; }
}

/* This board has no half-bridges: an upper leg stays off. */
void gates_set(uint8_t channel, enum gate gate) {
    const uint8_t bit = bits[FIRST_GATE + channel];
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (gate == GATE_ON)
            PORTD |= bit;
        else
            PORTD &= (uint8_t)~bit;
    }
}

#endif

void gates_enable(bool enabled) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (enabled)
            ENABLE_PORT |= _BV(ENABLE_BIT);
        else
            ENABLE_PORT &= (uint8_t)~_BV(ENABLE_BIT);
    }
}

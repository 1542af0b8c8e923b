/* SPDX-License-Identifier: MIT */
#include "gates.h"

#include <avr/interrupt.h>
#include <avr/pgmspace.h>
#include <util/atomic.h>

#define PER_PORT 8
#define ALL_PINS 0xFFU

/* A table: shifting is slow, and takes a time that depends on the channel. */
static const uint8_t bits[PER_PORT] PROGMEM = {1, 2, 4, 8, 16, 32, 64, 128};

volatile uint8_t gates_allowed = ALL_PINS;
static bool killed;

#if BOARD_CHANNELS == 16

void gates_begin(void)
{
    gates_all_off();
    ENABLE_DDR |= _BV(ENABLE_BIT);
    DDRA = DDRC = DDRL = DDRK = ALL_PINS;
}

void gates_prepare(struct gate_write *write, uint8_t channel, enum gate gate)
{
    const uint8_t bit = pgm_read_byte(&bits[channel % PER_PORT]);
    volatile uint8_t *lower = channel < PER_PORT ? &PORTA : &PORTC;
    volatile uint8_t *upper = channel < PER_PORT ? &PORTL : &PORTK;
    write->first = gate == GATE_UPPER ? lower : upper;
    write->second = gate == GATE_UPPER ? upper : lower;
    write->first_keep = write->second_keep = (uint8_t)~bit;
    write->second_set = gate == GATE_OFF ? 0 : bit;
}

void gates_prepare_nothing(struct gate_write *write)
{
    *write = (struct gate_write){&PORTA, &PORTA, ALL_PINS, ALL_PINS, 0};
}

#else

#define FIRST_GATE 4

void gates_begin(void)
{
    gates_all_off();
    ENABLE_DDR |= _BV(ENABLE_BIT);
    DDRD |= GATE_MASK;
}

/* This board has no half-bridges: an upper leg stays off. */
void gates_prepare(struct gate_write *write, uint8_t channel, enum gate gate)
{
    const uint8_t bit = pgm_read_byte(&bits[FIRST_GATE + channel]);
    gates_prepare_nothing(write);
    write->second_keep = (uint8_t)~bit;
    write->second_set = gate == GATE_ON ? bit : 0;
}

void gates_prepare_nothing(struct gate_write *write)
{
    *write = (struct gate_write){.second_keep = ALL_PINS};
}

#endif

void gates_unbar(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        gates_allowed = killed ? 0 : ALL_PINS;
    }
}

void gates_kill(bool now)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        killed = now;
        gates_unbar();
    }
}

void gates_enable(bool enabled)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        if (enabled) {
            ENABLE_PORT |= _BV(ENABLE_BIT);
        } else {
            ENABLE_PORT &= (uint8_t)~_BV(ENABLE_BIT);
        }
    }
}

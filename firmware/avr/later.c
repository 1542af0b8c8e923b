/* SPDX-License-Identifier: MIT */
#include "later.h"

#include <avr/interrupt.h>

/* The interrupt, after its beginning in beginnings.S: interrupts are on, it is held. */
void __vector_later(void) __attribute__((signal, used));
void __vector_later(void) {
    do {
        LATER_FLAGS &= (uint8_t)~_BV(LATER_DUE);
        sei();
        later_work();
        cli();
    } while (LATER_FLAGS & _BV(LATER_DUE));
    LATER_FLAGS &= (uint8_t)~_BV(LATER_HELD);
}

uint8_t later_hold(void) {
    const uint8_t held = LATER_FLAGS & _BV(LATER_HELD);
    LATER_FLAGS |= _BV(LATER_HELD);
    return held;
}

void later_release(uint8_t held) {
    if (held)
        return;
    LATER_FLAGS &= (uint8_t)~_BV(LATER_HELD);
    if (LATER_FLAGS & _BV(LATER_DUE))
        EECR |= _BV(EERIE);
}

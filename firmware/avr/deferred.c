/* SPDX-License-Identifier: MIT */
#include "deferred.h"

#include <avr/interrupt.h>

/* The interrupt, after its beginning in isr_entry.S: interrupts are on, it is held. */
void __vector_later(void) __attribute__((signal, used));
void __vector_later(void)
{
    do {
        DEFERRED_FLAGS &= (uint8_t)~_BV(DEFERRED_DUE);
        sei();
        deferred_work();
        cli();
    } while (DEFERRED_FLAGS & _BV(DEFERRED_DUE));
    DEFERRED_FLAGS &= (uint8_t)~_BV(DEFERRED_HELD);
}

uint8_t deferred_hold(void)
{
    const uint8_t held = DEFERRED_FLAGS & _BV(DEFERRED_HELD);
    DEFERRED_FLAGS |= _BV(DEFERRED_HELD);
    return held;
}

void deferred_release(uint8_t held)
{
    if (held) {
        return;
    }
    DEFERRED_FLAGS &= (uint8_t)~_BV(DEFERRED_HELD);
    if (DEFERRED_FLAGS & _BV(DEFERRED_DUE)) {
        EECR |= _BV(EERIE);
    }
}

/* SPDX-License-Identifier: MIT */
/* A level between the interrupts and the main loop, so that interrupts stay short. An interrupt that leaves something
 * to be done calls deferred_raise; the interrupt in main.c then works with interrupts on, before the main loop goes on.
 * It never interrupts itself. Every entry point of the core is called from there.
 *
 * It uses the EEPROM's "ready" interrupt, which comes for as long as it is enabled and nothing is being written:
 * raised and dropped by one instruction each, last in priority, on both parts, and otherwise unused (the program only
 * reads the EEPROM, once, before it begins). */
#ifndef DEFERRED_H
#define DEFERRED_H

#include <avr/io.h>

#define DEFERRED_FLAGS GPIOR0
#define DEFERRED_HELD 0 /* it runs, or the main loop holds it off */
#define DEFERRED_DUE 1 /* there is something to do */

#ifndef __ASSEMBLER__
#include <stdint.h>

/* [interrupt] There is something to do. */
static inline void deferred_raise(void)
{
    DEFERRED_FLAGS |= _BV(DEFERRED_DUE);
    if (!(DEFERRED_FLAGS & _BV(DEFERRED_HELD))) {
        EECR |= _BV(EERIE);
    }
}

/* [interrupt] The same for an interrupt that lets others in: what they raise comes when it has ended. Followed by
 * deferred_raise. */
static inline uint8_t deferred_hold_in_interrupt(void)
{
    const uint8_t held = DEFERRED_FLAGS & _BV(DEFERRED_HELD);
    DEFERRED_FLAGS |= _BV(DEFERRED_HELD);
    EECR &= (uint8_t)~_BV(EERIE);
    return held;
}
static inline void deferred_release_in_interrupt(uint8_t held)
{
    if (!held) {
        DEFERRED_FLAGS &= (uint8_t)~_BV(DEFERRED_HELD);
    }
}

/* [main, later] Holds it off and returns what to give to deferred_release; nests. Interrupts go on. */
uint8_t deferred_hold(void);
void deferred_release(uint8_t held);
#endif

#endif

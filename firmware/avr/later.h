/* SPDX-License-Identifier: MIT
 * A level between the interrupts and the main loop, so that interrupts stay short. An interrupt that leaves something to be
 * done calls later_raise; later_work is then called with interrupts on, before the main loop goes on. It never
 * interrupts itself. Every entry point of the core is called from there.
 *
 * It hangs on the EEPROM's "ready" interrupt, which comes for as long as it is enabled and nothing is being written: raised and
 * dropped by one instruction each, last in priority, on both parts, and otherwise unused (the program only reads
 * the EEPROM, once, before it begins). */
#ifndef LATER_H
#define LATER_H

#include <avr/io.h>

#define LATER_FLAGS GPIOR0
#define LATER_HELD 0 /* it runs, or the main loop holds it off */
#define LATER_DUE 1  /* there is something to do */

#ifndef __ASSEMBLER__
#include <stdint.h>

/* [interrupt] There is something to do. */
static inline void later_raise(void) {
    LATER_FLAGS |= _BV(LATER_DUE);
    if (!(LATER_FLAGS & _BV(LATER_HELD)))
        EECR |= _BV(EERIE);
}

/* [interrupt] The same for an interrupt that lets others in: what they raise comes when it has ended. Followed by later_raise. */
static inline uint8_t later_hold_in_interrupt(void) {
    const uint8_t held = LATER_FLAGS & _BV(LATER_HELD);
    LATER_FLAGS |= _BV(LATER_HELD);
    EECR &= (uint8_t)~_BV(EERIE);
    return held;
}
static inline void later_release_in_interrupt(uint8_t held) {
    if (!held)
        LATER_FLAGS &= (uint8_t)~_BV(LATER_HELD);
}

/* [main, later] Holds it off and returns what to give to later_release; nests. Interrupts go on. */
uint8_t later_hold(void);
void later_release(uint8_t held);

/* To be provided: does everything that is due. */
void later_work(void);
#endif

#endif

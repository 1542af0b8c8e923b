/* SPDX-License-Identifier: MIT */
#include "guard.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>
#include <util/atomic.h>

#include "board.h"
#include "later.h"

#define MS_COUNT 249U /* 16 MHz / 64 / 250 = 1 kHz */

static bool by_watchdog;

void guard_first(void) {
    by_watchdog = MCUSR & _BV(WDRF);
    MCUSR = 0;
    wdt_disable();
}

void guard_begin(void) {
    STOP_PORT |= _BV(STOP_BIT);
    TCCR2A = _BV(WGM21);
    TCCR2B = _BV(CS22);
    OCR2A = MS_COUNT;
    TIMSK2 = _BV(OCIE2A);
    wdt_enable(WDTO_120MS);
}

void guard_feed(void) { wdt_reset(); }

bool guard_was_watchdog(void) { return by_watchdog; }

bool guard_stop_open(void) { return STOP_PINS & _BV(STOP_BIT); }

volatile uint8_t guard_milliseconds;

ISR(TIMER2_COMPA_vect) {
    guard_milliseconds++;
    later_raise();
}

void guard_attended(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { guard_milliseconds--; }
}

/* SPDX-License-Identifier: MIT */
#include "guard.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "board.h"
#include "edges.h"

#define MS_COUNT 249U /* 16 MHz / 64 / 250 = 1 kHz */

/* Kept before the runtime clears memory; the watchdog stays on after it reset, with its shortest time. */
static uint8_t reset_cause __attribute__((section(".noinit")));

void guard_early(void) __attribute__((naked, used, section(".init3")));
void guard_early(void) {
    reset_cause = MCUSR;
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

bool guard_was_watchdog(void) { return reset_cause & _BV(WDRF); }

bool guard_stop_open(void) { return STOP_PINS & _BV(STOP_BIT); }

ISR(TIMER2_COMPA_vect) {
    edges_keep_count();
    guard_millisecond();
}

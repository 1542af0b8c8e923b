/* SPDX-License-Identifier: MIT */
#include "watchdog.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>
#include <util/atomic.h>

#include "board.h"
#include "deferred.h"

#define MS_COUNT 249U /* 16 MHz / 64 / 250 = 1 kHz */

static bool by_watchdog;

void watchdog_first(void)
{
    by_watchdog = MCUSR & _BV(WDRF);
    MCUSR = 0;
    wdt_disable();
}

void watchdog_begin(void)
{
    STOP_PORT |= _BV(STOP_BIT);
    TCCR2A = _BV(WGM21);
    TCCR2B = _BV(CS22);
    OCR2A = MS_COUNT;
    TIMSK2 = _BV(OCIE2A);
    wdt_enable(WDTO_120MS);
}

void watchdog_feed(void)
{
    wdt_reset();
}

bool watchdog_was_cause(void)
{
    return by_watchdog;
}

bool watchdog_stop_open(void)
{
    return STOP_PINS & _BV(STOP_BIT);
}

volatile uint8_t watchdog_milliseconds;

ISR(TIMER2_COMPA_vect)
{
    watchdog_milliseconds++;
    deferred_raise();
}

void watchdog_attended(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        watchdog_milliseconds--;
    }
}

/* SPDX-License-Identifier: MIT */
#include "deferred.h"

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

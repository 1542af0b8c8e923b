/* SPDX-License-Identifier: MIT */
#include "rest.h"

#include <string.h>

#include "core_config.h"
#include "guard.h"
#include "limits.h"
#include "wire_gen.h"

#define US_PER_MS 1000U
/* Both ends are known to the millisecond: rather too much than too little. */
#define ROUNDED_MS 2U

static uint32_t until_ms[CORE_CHANNELS];
static uint8_t looked_at;

void rest_reset(void)
{
    memset(until_ms, 0, sizeof until_ms);
    looked_at = 0;
}

static int32_t left_ms(uint8_t index)
{
    return (int32_t)(until_ms[index] - guard_uptime_ms());
}

void rest_owe(uint8_t channel, uint32_t on_us, uint32_t ago_us)
{
    uint8_t index = (uint8_t)(channel - 1U);
    /* on / duty: in us over permille that is ms */
    uint32_t whole_ms = on_us / limits_config(channel)->max_duty_permille + ROUNDED_MS;
    int32_t owed_ms = (int32_t)(whole_ms - ago_us / US_PER_MS);
    if (owed_ms > left_ms(index)) {
        until_ms[index] = guard_uptime_ms() + (uint32_t)owed_ms;
    }
}

struct refusal rest_check(uint8_t channel)
{
    int32_t left = left_ms((uint8_t)(channel - 1U));
    return left > 0 ? refusal_of(WIRE_REFUSAL_RESTING, (uint32_t)left) : refusal_none();
}

void rest_poll(void)
{
    looked_at = (uint8_t)((looked_at + 1U) % CORE_CHANNELS);
    if (left_ms(looked_at) < 0) {
        until_ms[looked_at] = guard_uptime_ms();
    }
}

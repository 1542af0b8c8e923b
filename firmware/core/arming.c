/* SPDX-License-Identifier: MIT */
#include "arming.h"

#include "activity.h"
#include "hal.h"
#include "send.h"
#include "wire_messages_gen.h"

static volatile uint8_t mask;
static volatile uint32_t until_ticks[ARMING_CLASSES];

void arming_reset(void)
{
    mask = 0;
}

void arming_arm(uint8_t hazard, uint16_t duration_ms)
{
    uint8_t saved = hal_irq_save();
    until_ticks[hazard] = hal_now_ticks() + (uint32_t)duration_ms * HAL_TICKS_PER_MS;
    mask = (uint8_t)(mask | (1U << hazard));
    hal_irq_restore(saved);
}

uint8_t arming_valid_mask(uint32_t now_ticks)
{
    uint8_t valid = 0;
    for (uint8_t hazard = 1; hazard < ARMING_CLASSES; hazard++) {
        if ((mask & (1U << hazard)) && (int32_t)(until_ticks[hazard] - now_ticks) > 0) {
            valid = (uint8_t)(valid | (1U << hazard));
        }
    }
    return valid;
}

static uint8_t valid_now(void)
{
    uint8_t saved = hal_irq_save();
    uint8_t valid = arming_valid_mask(hal_now_ticks());
    hal_irq_restore(saved);
    return valid;
}

uint8_t arming_missing(uint8_t hazards)
{
    uint8_t missing = (uint8_t)(hazards & ~valid_now());
    for (uint8_t hazard = 1; hazard < ARMING_CLASSES; hazard++) {
        if (missing & (1U << hazard)) {
            return hazard;
        }
    }
    return WIRE_HAZARD_NONE;
}

void arming_drop(uint8_t hazard, uint8_t reason)
{
    if (!(mask & (1U << hazard))) {
        return;
    }
    uint8_t saved = hal_irq_save();
    mask = (uint8_t)(mask & ~(1U << hazard));
    hal_irq_restore(saved);
    if (activity_hazards() & (1U << hazard)) {
        activity_end(WIRE_END_REASON_DISARMED);
    }
    struct wire_disarmed event = {.hazard = hazard, .reason = reason};
    uint8_t body[WIRE_DISARMED_BYTES];
    send_event(WIRE_KIND_DISARMED, body, wire_encode_disarmed(&event, body));
}

void arming_drop_all(uint8_t reason)
{
    for (uint8_t hazard = 1; hazard < ARMING_CLASSES; hazard++) {
        arming_drop(hazard, reason);
    }
}

void arming_expire(void)
{
    if (mask == 0) {
        return;
    }
    uint8_t expired = (uint8_t)(mask & ~valid_now());
    for (uint8_t hazard = 1; hazard < ARMING_CLASSES; hazard++) {
        if (expired & (1U << hazard)) {
            arming_drop(hazard, WIRE_DISARM_REASON_EXPIRED);
        }
    }
}

uint16_t arming_left_ms(uint8_t hazard)
{
    uint8_t saved = hal_irq_save();
    int32_t left = (int32_t)(until_ticks[hazard] - hal_now_ticks());
    hal_irq_restore(saved);
    if (!(mask & (1U << hazard)) || left <= 0) {
        return 0;
    }
    return (uint16_t)(((uint32_t)left + HAL_TICKS_PER_MS - 1U) / HAL_TICKS_PER_MS);
}

uint8_t arming_mask(void)
{
    return mask;
}

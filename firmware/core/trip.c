/* SPDX-License-Identifier: MIT */
#include "trip.h"

#include "limits.h"
#include "outputs.h"
#include "send.h"
#include "wire_messages_gen.h"

#define NA_PER_UA 1000U
#define NA_PER_UA_SHIFT 10U /* 1024 for it */
#define UA_PER_MA 1000U
#define NA_PER_MA 1000000UL
#define HUNDREDTHS 100
/* Each range is believed up to this share of its full scale: an amplifier may top out a little short of its rail. In
 * the wide one more than that is always over. */
#define USABLE_PERCENT 97U

static const struct hal_board *board;
static volatile uint16_t latched;
static volatile uint16_t unreported;
static volatile uint32_t unreported_ua;
static uint16_t usable; /* counts */

void trip_reset(const struct hal_board *the_board)
{
    board = the_board;
    usable = (uint16_t)((((1UL << board->adc_bits) - 1U) * USABLE_PERCENT) / 100U);
    latched = 0;
    unreported = 0;
}

static const struct hal_channel *scale(uint8_t channel)
{
    return &board->channels[channel - 1U];
}

static uint16_t full_counts(void)
{
    return (uint16_t)((1U << board->adc_bits) - 1U);
}

struct hal_limit trip_limit_of(uint8_t channel)
{
    const struct hal_channel *s = scale(channel);
    uint32_t limit_ma = limits_config(channel)->max_current_ma;
    uint32_t fine_full_ma = s->fine_na_per_count / NA_PER_UA * full_counts() / UA_PER_MA;
    struct hal_limit limit = {.wide = true, .counts = 0};
    if (limit_ma < fine_full_ma) {
        int32_t fine = (int32_t)(limit_ma * NA_PER_MA / s->fine_na_per_count) + s->fine_offset_x100 / HUNDREDTHS;
        if (fine < (int32_t)usable) {
            limit.wide = false;
            limit.counts = (uint16_t)(fine < 0 ? 0 : fine);
            return limit;
        }
    }
    int32_t wide =
        (int32_t)(limit_ma * UA_PER_MA / (s->wide_na_per_count / NA_PER_UA)) + s->wide_offset_x100 / HUNDREDTHS;
    limit.counts = wide > (int32_t)usable ? usable : (uint16_t)wide;
    return limit;
}

static bool fine_is_good(uint16_t fine)
{
    return fine < usable;
}

/* Counts above the offset, in hundredths; 0 below it. */
static uint32_t counts_x100_of(const struct hal_channel *s, uint16_t fine, uint16_t wide)
{
    int32_t counts_x100 = fine_is_good(fine) ? (int32_t)fine * HUNDREDTHS - s->fine_offset_x100
                                             : (int32_t)wide * HUNDREDTHS - s->wide_offset_x100;
    return counts_x100 <= 0 ? 0 : (uint32_t)counts_x100;
}

static uint32_t na_per_count_of(const struct hal_channel *s, uint16_t fine)
{
    return fine_is_good(fine) ? s->fine_na_per_count : s->wide_na_per_count;
}

uint32_t trip_current_ua(uint8_t channel, uint16_t fine, uint16_t wide)
{
    const struct hal_channel *s = scale(channel);
    return counts_x100_of(s, fine, wide) * (na_per_count_of(s, fine) / NA_PER_UA) / (uint32_t)HUNDREDTHS;
}

uint32_t trip_current_10na(uint8_t channel, uint16_t fine, uint16_t wide)
{
    const struct hal_channel *s = scale(channel);
    return counts_x100_of(s, fine, wide) * (na_per_count_of(s, fine) >> NA_PER_UA_SHIFT);
}

void trip_now(uint8_t channel, uint16_t fine, uint16_t wide)
{
    outputs_all_off();
    uint16_t bit = (uint16_t)(1U << (channel - 1U));
    latched = (uint16_t)(latched | bit);
    unreported = (uint16_t)(unreported | bit);
    unreported_ua = trip_current_ua(channel, fine, wide);
}

uint16_t trip_mask(void)
{
    uint8_t saved = hal_irq_save();
    uint16_t mask = latched;
    hal_irq_restore(saved);
    return mask;
}

void trip_clear(uint8_t channel)
{
    uint8_t saved = hal_irq_save();
    latched = (uint16_t)(latched & ~(1U << (channel - 1U)));
    hal_irq_restore(saved);
}

void trip_announce(void)
{
    if (unreported == 0) { /* a half-written mask is reported on the next turn */
        return;
    }
    uint8_t saved = hal_irq_save();
    uint16_t mask = unreported;
    uint32_t ma = unreported_ua / UA_PER_MA;
    unreported = 0;
    hal_irq_restore(saved);
    for (uint8_t channel = 1; channel <= board->channel_count; channel++) {
        if (mask & (1U << (channel - 1U))) {
            struct wire_trip event = {.channel = channel, .current_ma = (uint16_t)(ma > UINT16_MAX ? UINT16_MAX : ma)};
            uint8_t body[WIRE_TRIP_BYTES];
            send_event(WIRE_KIND_TRIP, body, wire_encode_trip(&event, body));
        }
    }
}

/* SPDX-License-Identifier: MIT */
#include "look.h"

#include "guard.h"
#include "trip.h"
#include "wire_gen.h"

/* So many looks at one channel in a row are out of the band before it counts: a millisecond each, in which the current
 * of any load has decayed. */
#define LOOKS 20U
#define BAND_COUNTS 12 /* of the fine range: 24 mA */
#define HUNDREDTHS 100

static const struct hal_board *board;
static uint8_t place; /* of the channel, counted from 0 */
static uint8_t strays; /* looks in a row */
static bool awaited;

void look_reset(const struct hal_board *the_board)
{
    board = the_board;
    place = 0;
    strays = 0;
    awaited = false;
}

/* Counts away from the channel's zero, or INT16_MIN when none came. */
static void judge(int16_t away, uint16_t fine, uint16_t wide)
{
    if (away <= BAND_COUNTS && away >= -BAND_COUNTS) {
        strays = 0;
        place = (uint8_t)((place + 1U) % board->channel_count);
        return;
    }
    strays++;
    if (strays == LOOKS) {
        trip_now((uint8_t)(place + 1U), fine, wide);
        guard_fault(away > 0 ? WIRE_STOP_REASON_DRIVER_ON : WIRE_STOP_REASON_CURRENT_PATH);
    }
}

void look_tick(bool busy)
{
    if (busy || guard_faulty()) {
        awaited = false;
        strays = 0;
        return;
    }
    if (awaited) { /* no set has come in a millisecond: the converter stands */
        judge(INT16_MIN, 0, 0);
    }
    awaited = true;
    hal_adc_start((uint8_t)(place + 1U));
}

void look_set(const struct hal_set *set)
{
    if (awaited) {
        awaited = false;
        hal_adc_stop();
        judge((int16_t)((int16_t)set->fine - board->channels[place].fine_offset_x100 / HUNDREDTHS), set->fine,
              set->wide);
    }
}

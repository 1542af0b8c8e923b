/* SPDX-License-Identifier: MIT */
#include "scan.h"

#include <string.h>

#include "activity.h"
#include "answer.h"
#include "limits.h"
#include "outputs.h"
#include "trip.h"
#include "wire_messages_gen.h"
#include "workspace.h"

#define run (workspace.scan)

/* From one sense pulse to the next, so that one load's current has decayed before the next is looked at. */
#define SLOT_TICKS HAL_TICKS_PER_MS

/* The last set of a pulse is taken so long before its off edge. */
#define NOTE_TICKS 2U

enum step { RESTING, COMING, PULSE, DECAY };

static const struct hal_board *board;

void scan_reset(const struct hal_board *the_board)
{
    board = the_board;
}

/* Go on to the next channel of the mask after this one; over when there is none. */
static void next_channel(void)
{
    do {
        run.channel++;
    } while (run.channel <= board->channel_count && !(run.result.mask & (1U << (run.channel - 1U))));
    if (run.channel > board->channel_count) {
        activity_over();
        return;
    }
    run.step = RESTING;
    hal_adc_start(run.channel);
}

void scan_begin(uint16_t sequence, const struct wire_scan *request, const uint8_t *widths_us)
{
    uint8_t saved = hal_irq_save();
    memset(&run, 0, sizeof run);
    run.sequence = sequence;
    run.result.mask = request->mask;
    run.result.on_time_us = request->on_time_us;
    memcpy(run.widths_us, widths_us, sizeof run.widths_us);
    activity_begin(ACTIVITY_SCAN, 0, 0, false, WIRE_BOX_STATE_SENSING);
    next_channel();
    hal_irq_restore(saved);
}

static void at(uint32_t at_ticks, uint8_t drive, uint8_t sampling, uint8_t wait_ticks)
{
    struct hal_edge edge = {
        .at_ticks = at_ticks, .drive = drive, .sampling = sampling, .sampled = run.channel, .wait_ticks = wait_ticks};
    bool switched = sampling != HAL_SAMPLING_LEAVE;
    edge.channel = switched ? run.channel : 0;
    edge.limit = trip_limit_of(run.channel);
    outputs_edge_at(&edge);
}

static uint16_t bit(void)
{
    return (uint16_t)(1U << (run.channel - 1U));
}

/* On and off. The sets begin so late that the last one is taken just before the off edge, on which nothing else may
 * fall: a board needs some time for each edge. */
static void switch_on(uint16_t width)
{
    uint16_t lead = (uint16_t)(board->first_sample_ticks + NOTE_TICKS);
    uint16_t room = width > lead ? (uint16_t)(width - lead) : 0;
    activity_at_channel(run.channel);
    run.result.sensed_mask = (uint16_t)(run.result.sensed_mask | bit());
    run.sets = (uint8_t)(room / board->sample_period_ticks + 1U);
    run.step = COMING;
    run.on_ticks = hal_now_ticks() + CORE_START_TICKS;
    at(run.on_ticks, HAL_ON, HAL_SAMPLING_SENSE, (uint8_t)(room % board->sample_period_ticks));
    at(run.on_ticks + width, HAL_OFF, HAL_SAMPLING_LAST, 0);
}

static void note(const struct hal_set *set)
{
    run.result.fine_counts[run.channel - 1U] = set->fine;
    run.result.wide_counts[run.channel - 1U] = set->wide;
    run.sets = 0;
}

static void wait_for_decay(void)
{
    run.step = DECAY;
    at(run.on_ticks + SLOT_TICKS, HAL_OFF, HAL_SAMPLING_LEAVE, 0);
}

void scan_edge(void)
{
    switch (run.step) {
    case COMING:
        run.step = PULSE;
        break;
    case PULSE:
        wait_for_decay();
        break;
    case DECAY:
        if (run.sets > 0) { /* the set was missed: better not sensed than open */
            run.result.sensed_mask = (uint16_t)(run.result.sensed_mask & ~bit());
        }
        next_channel();
        break;
    default:
        break;
    }
}

void scan_over_current(const struct hal_set *set, uint32_t off_ticks)
{
    (void)off_ticks;
    trip_now(run.channel, set->fine, set->wide);
    note(set);
    wait_for_decay();
}

static void rested(const struct hal_set *set)
{
    hal_adc_stop();
    run.result.supply_counts = set->supply;
    run.result.drain_counts[run.channel - 1U] = set->drain;
    uint16_t width = (uint16_t)(run.widths_us[run.channel - 1U] * HAL_TICKS_PER_US);
    if (width > 0 && !(trip_mask() & bit())) {
        switch_on(width);
    } else {
        next_channel();
    }
}

void scan_set(const struct hal_set *set)
{
    if (run.step == RESTING) {
        rested(set);
        return;
    }
    if (run.sets == 1U) {
        note(set);
    } else if (run.sets > 0) {
        run.sets--;
    }
    if (run.sets == 0 && run.step == DECAY) {
        hal_adc_stop();
    }
}

/* A pulse whose last set is among them has none. */
void scan_lost(uint8_t sets)
{
    if (run.step != RESTING && run.sets > sets) {
        run.sets = (uint8_t)(run.sets - sets);
    } else if (run.step != RESTING && run.sets > 0) {
        run.sets = UINT8_MAX;
    }
}

void scan_report_end(uint8_t reason)
{
    if (reason == WIRE_END_REASON_COMPLETE) {
        uint8_t body[WIRE_SCAN_RESULT_BYTES];
        answer_late(run.sequence, WIRE_KIND_SCAN_RESULT, body, wire_encode_scan_result(&run.result, body));
    } else {
        answer_refuse_late(run.sequence, WIRE_KIND_SCAN, WIRE_REFUSAL_STOPPED);
    }
}

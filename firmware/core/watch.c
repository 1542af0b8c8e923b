/* SPDX-License-Identifier: MIT */
#include "watch.h"

#include <string.h>

#include "activity.h"
#include "core_config.h"
#include "outputs.h"
#include "rest.h"
#include "send.h"
#include "trip.h"
#include "wire_messages_gen.h"
#include "workspace.h"

#define run (workspace.watch)
#define finder (workspace.watch.finder)

#define NS_PER_S 1000000000UL
/* The watched value is learnt from the second half of this long after the start; dropouts count from its end. */
#define SETTLE_TICKS (100U * HAL_TICKS_PER_MS)
#define PERMILLE 1000U
#define UV_PER_V 1000000UL
#define UV_PER_MV 1000UL
/* The watched value is a quantity over the supply. Units of the quantity, so that it and its product with a supply
 * reading fit 32 bits: 20 nA when held, else 2^-16 counts of the pin. */
#define HELD_HALVED 1U
#define DRAIN_SHIFT 16U

static const struct hal_board *board;
static volatile uint16_t overruns;

void watch_reset(const struct hal_board *the_board)
{
    board = the_board;
    overruns = 0;
}

/* Time of a kept set from the start of the watch, us. */
static uint32_t set_time_us(uint32_t index)
{
    uint32_t period_us = (uint32_t)board->sample_period_ticks * run.decimation / HAL_TICKS_PER_US;
    return board->first_sample_ticks / HAL_TICKS_PER_US + index * period_us;
}

void watch_begin(const struct wire_watch *request, uint8_t hazards, bool pump)
{
    uint8_t saved = hal_irq_save();
    memset(&run, 0, sizeof run);
    run.plan = *request;
    uint32_t wanted_ns = NS_PER_S / request->sample_hz;
    uint32_t decimation = (wanted_ns + board->sample_period_ns / 2U) / board->sample_period_ns;
    run.decimation = (uint8_t)(decimation < 1U ? 1U : decimation);
    uint32_t period = (uint32_t)board->sample_period_ticks * run.decimation;
    finder.learn_sets = (SETTLE_TICKS - board->first_sample_ticks + period - 1U) / period;
    finder.least = UINT32_MAX;
    run.bias = (uint16_t)(board->bias_mv * UV_PER_MV / board->drain_uv_per_count);
    run.least_supply = (uint16_t)(UV_PER_V / board->supply_uv_per_count);
    run.start = hal_now_ticks() + (request->held ? CORE_START_TICKS : 0U);
    run.duration = request->duration_ms * HAL_TICKS_PER_MS;
    activity_begin(ACTIVITY_WATCH, request->channel, hazards, pump, WIRE_BOX_STATE_SENSING);
    if (request->held) {
        struct hal_edge on = {.at_ticks = run.start,
                              .channel = request->channel,
                              .drive = HAL_ON,
                              .sampling = HAL_SAMPLING_SENSE,
                              .sampled = request->channel,
                              .limit = trip_limit_of(request->channel)};
        outputs_edge_at(&on);
    } else {
        hal_adc_start(request->channel);
    }
    hal_irq_restore(saved);
}

void watch_tick(uint32_t now_ticks)
{
    /* Ends on the last millisecond that does not make it too long. */
    if ((int32_t)(now_ticks - run.start + HAL_TICKS_PER_MS) > (int32_t)run.duration) {
        activity_over();
    }
}

void watch_over_current(const struct hal_set *set, uint32_t off_ticks)
{
    (void)off_ticks;
    trip_now(run.plan.channel, set->fine, set->wide);
    run.tripped = true;
    activity_over();
}

static void count_overrun(void)
{
    overruns = overruns < UINT16_MAX ? (uint16_t)(overruns + 1U) : overruns;
}

/* Sets that are missing count in time all the same. */
void watch_lost(uint8_t sets)
{
    for (; sets > 0; sets--) {
        if (run.skip > 0) {
            run.skip--;
        } else {
            run.skip = (uint8_t)(run.decimation - 1U);
            run.kept++;
            count_overrun();
        }
    }
}

void watch_set(const struct hal_set *set)
{
    if (run.skip > 0) {
        run.skip--;
        return;
    }
    run.skip = (uint8_t)(run.decimation - 1U);
    uint8_t next = (uint8_t)((run.put + 1U) % CORE_WATCH_QUEUE);
    if (next == run.taken) {
        count_overrun();
    } else {
        run.queue[run.put].set = *set;
        run.queue[run.put].index = run.kept;
        run.put = next;
    }
    run.kept++;
}

/* What the watched load makes of the supply: its current, or how far it holds its pin away from the bias, at the supply
 * or at ground; a break lets the pin go there. */
static uint32_t quantity(const struct hal_set *set)
{
    if (run.plan.held) {
        return trip_current_10na(run.plan.channel, set->fine, set->wide) >> HELD_HALVED;
    }
    uint16_t distance = (uint16_t)(set->drain > run.bias ? set->drain - run.bias : run.bias - set->drain);
    return (uint32_t)distance << DRAIN_SHIFT;
}

static uint16_t supply_of(const struct hal_set *set)
{
    return set->supply < run.least_supply ? run.least_supply : set->supply;
}

/* The watched value: the quantity over the supply, so that its ripple does not count. */
static uint32_t ratio(const struct hal_set *set)
{
    return quantity(set) / supply_of(set);
}

/* Whether the ratio is below a value. A division takes a small processor longer than it has for each set. */
static bool is_below(const struct hal_set *set, uint32_t value)
{
    return quantity(set) < value * supply_of(set);
}

static void learn(uint32_t index, uint32_t value)
{
    if (index < finder.learn_sets / 2U) {
        return;
    }
    finder.sum += value;
    finder.count++;
    finder.least = value < finder.least ? value : finder.least;
    finder.most = value > finder.most ? value : finder.most;
}

/* A dropout is a fall by the asked share, and by more than the whole spread of the settled value. */
static void settle(void)
{
    finder.settled = true;
    finder.value = finder.count == 0 ? 0 : finder.sum / finder.count;
    uint32_t fall = finder.value / PERMILLE * run.plan.depth_permille +
                    finder.value % PERMILLE * run.plan.depth_permille / PERMILLE;
    uint32_t spread = finder.count == 0 ? 0 : finder.most - finder.least;
    fall = fall < spread ? spread : fall;
    finder.floor = finder.value > fall ? finder.value - fall : 0;
}

static void report(uint32_t end_us)
{
    finder.below = false;
    uint32_t gone = finder.value > finder.lowest ? finder.value - finder.lowest : 0;
    uint32_t unit = finder.value / PERMILLE;
    uint32_t depth = unit == 0 ? 0 : (gone + unit / 2U) / unit;
    struct wire_dropout event = {
        .channel = run.plan.channel,
        .start_us = finder.since_us,
        .length_us = end_us - finder.since_us,
        .depth_permille = (uint16_t)(depth > PERMILLE ? PERMILLE : depth),
    };
    uint8_t body[WIRE_DROPOUT_BYTES];
    send_event(WIRE_KIND_DROPOUT, body, wire_encode_dropout(&event, body));
}

static void follow(uint32_t index, const struct hal_set *set)
{
    if (!finder.settled) {
        settle();
    }
    if (is_below(set, finder.floor)) {
        uint32_t value = ratio(set);
        if (!finder.below) {
            finder.below = true;
            finder.since_us = set_time_us(index);
            finder.lowest = value;
        }
        finder.lowest = value < finder.lowest ? value : finder.lowest;
    } else if (finder.below) {
        report(set_time_us(index));
    }
}

void watch_look(void)
{
    /* No more than can be waiting: the main loop has other things to do, however fast the sets come. */
    for (uint8_t left = CORE_WATCH_QUEUE; left > 0 && run.taken != run.put; left--) {
        struct watch_queued queued = run.queue[run.taken];
        run.taken = (uint8_t)((run.taken + 1U) % CORE_WATCH_QUEUE);
        if (queued.index < finder.learn_sets) {
            learn(queued.index, ratio(&queued.set));
        } else {
            follow(queued.index, &queued.set);
        }
    }
}

void watch_report_end(uint8_t reason)
{
    watch_look();
    int32_t lasted_ticks = (int32_t)(hal_now_ticks() - run.start);
    uint32_t lasted_us = lasted_ticks > 0 ? (uint32_t)lasted_ticks / HAL_TICKS_PER_US : 0; /* or it never began */
    if (finder.below && !run.tripped) {
        report(lasted_us);
    }
    if (run.plan.held) {
        rest_owe(run.plan.channel, lasted_us, lasted_us);
    }
    struct wire_drive_ended event = {
        .channel = run.plan.channel,
        .pulses = 0,
        .reason = run.tripped ? (uint8_t)WIRE_END_REASON_TRIPPED : reason,
    };
    uint8_t body[WIRE_DRIVE_ENDED_BYTES];
    send_event(WIRE_KIND_DRIVE_ENDED, body, wire_encode_drive_ended(&event, body));
}

uint16_t watch_overruns(void)
{
    return overruns;
}

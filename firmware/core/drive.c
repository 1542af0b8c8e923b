/* SPDX-License-Identifier: MIT */
#include "drive.h"

#include <string.h>

#include "activity.h"
#include "outputs.h"
#include "rest.h"
#include "send.h"
#include "trace.h"
#include "trip.h"
#include "wire_messages_gen.h"
#include "workspace.h"

#define run (workspace.drive)
#define together (CORE_HALF_BRIDGES && run.plan.together)

void drive_reset(void)
{
    memset(&run, 0, sizeof run);
}

/* All channels conduct through one shunt line when together: the lowest limit of them holds for each. */
static void find_limits(void)
{
    for (uint8_t i = 0; i < run.plan.channel_count; i++) {
        run.limits[i] = trip_limit_of(run.plan.channels[i]);
    }
    if (together && run.limits[0].wide == run.limits[1].wide) {
        struct hal_limit *high = run.limits[0].counts > run.limits[1].counts ? &run.limits[0] : &run.limits[1];
        struct hal_limit *low = high == &run.limits[0] ? &run.limits[1] : &run.limits[0];
        high->counts = low->counts;
    } else if (together) {
        struct hal_limit fine = run.limits[0].wide ? run.limits[1] : run.limits[0];
        run.limits[0] = run.limits[1] = fine;
    }
}

/* A bridge's current is looked at on its ground side, which is the second of its channels. */
static uint8_t sampled_by(const struct hal_edge *edge)
{
    return together ? run.plan.channels[1] : edge->channel;
}

static const struct hal_limit *limit_of(uint8_t channel)
{
    uint8_t i = 0;
    while (i + 1U < run.plan.channel_count && run.plan.channels[i] != channel) {
        i++;
    }
    return &run.limits[i];
}

/* Whether the pulse that is being planned is traced: the first, and every n-th after it. */
static bool next_is_traced(void)
{
    if (run.plan.trace_every == 0 || run.plan.trace_samples == 0) {
        return false;
    }
    if (run.untraced > 0) {
        run.untraced--;
        return false;
    }
    run.untraced = (uint16_t)(run.plan.trace_every - 1U);
    return true;
}

static void give_to_board(struct hal_edge *edge)
{
    if (edge->sampling == HAL_SAMPLING_PULSE) {
        edge->sampling = next_is_traced() ? HAL_SAMPLING_TRACE : HAL_SAMPLING_PULSE;
        edge->every = run.plan.trace_decimation;
        edge->sampled = sampled_by(edge);
        edge->limit = *limit_of(edge->sampled);
    }
    outputs_edge_at(edge);
}

/* Keeps the board supplied: with edges ahead, the program may be late without any of them being late. A pulse is begun
 * only where its end has room, too: however late the program is, no pulse gets longer. */
static void plan_ahead(void)
{
    while (run.count + (run.between ? run.at_once : 1U) <= HAL_EDGES_AHEAD) {
        struct hal_edge *edge = &run.ahead[(run.first + run.count) % HAL_EDGES_AHEAD];
        if (!programme_next(&run.programme, edge)) {
            return;
        }
        run.between = edge->sampling == HAL_SAMPLING_END;
        give_to_board(edge);
        run.count++;
    }
}

struct drive_run *drive_blank(void)
{
    memset(&run, 0, sizeof run); /* nothing is under way: no interrupt looks at it */
    return &run;
}

void drive_begin(void)
{
    const struct drive_plan *plan = &run.plan;
    uint8_t state = plan->sensing ? WIRE_BOX_STATE_SENSING : WIRE_BOX_STATE_DRIVING;
    run.between = true;
    run.at_once = programme_edges_at_once(&run.programme);
    find_limits();
    uint8_t saved = hal_irq_save();
    activity_begin(ACTIVITY_DRIVE, plan->channels[0], plan->hazards, plan->pump, state);
    plan_ahead();
    hal_irq_restore(saved);
}

static void begin_pulse(const struct hal_edge *edge)
{
    run.on = true;
    run.on_at = edge->at_ticks;
    run.sampled = edge->sampled;
    run.rest_until = edge->at_ticks + run.plan.rest_ticks;
    if (edge->sampling == HAL_SAMPLING_TRACE) {
        trace_begin(run.sampled, run.begun, run.plan.trace_decimation, run.plan.trace_samples, edge->at_ticks);
    }
    run.begun++;
}

static void close_full_trace(void)
{
    if (trace_filling() && trace_knows_off() && trace_full()) {
        trace_close(hal_now_ticks());
    }
}

static void end_pulse(uint32_t at_ticks)
{
    run.on = false;
    run.delivered++;
    trace_pulse_off(at_ticks, false);
    close_full_trace();
}

static void end_when_done(void)
{
    if (run.count == 0 && !run.on && run.rested && !trace_filling()) {
        activity_over();
    }
}

static bool due(uint32_t at_ticks)
{
    return (int32_t)(hal_now_ticks() - at_ticks) >= 0;
}

/* After the last pulse: nothing until the duty is kept. */
static void rest(void)
{
    if (due(run.rest_until)) {
        run.rested = true;
        end_when_done();
    } else {
        struct hal_edge end = {.at_ticks = run.rest_until, .sampling = HAL_SAMPLING_LEAVE};
        outputs_edge_at(&end);
    }
}

void drive_edge(void)
{
    if (run.count == 0) {
        run.rested = true;
        end_when_done();
        return;
    }
    const struct hal_edge *done = &run.ahead[run.first];
    run.first = (uint8_t)((run.first + 1U) % HAL_EDGES_AHEAD);
    run.count--;
    if (done->sampling == HAL_SAMPLING_END) {
        end_pulse(done->at_ticks);
    } else if (done->sampling != HAL_SAMPLING_LEAVE) {
        begin_pulse(done);
    }
    plan_ahead();
    if (run.count == 0 && !run.on) {
        rest();
    }
}

void drive_over_current(const struct hal_set *set, uint32_t off_ticks)
{
    /* A bridge's two channels share one current: the trip is that of the drive's channel. */
    trip_now(together ? run.plan.channels[0] : run.sampled, set->fine, set->wide);
    run.programme.on = off_ticks - run.on_at;
    run.tripped = true;
    run.on = false;
    run.count = 0;
    run.rested = true;
    trace_pulse_off(off_ticks, true);
    close_full_trace();
    end_when_done();
}

void drive_set(const struct hal_set *set)
{
    if (trace_filling() && trace_put(set)) {
        hal_adc_release();
        close_full_trace();
        end_when_done();
    }
}

/* A pulse's trace ends before the first set that was missed: what measures it wants every one. In a bridge's trace, of
 * which the console takes what it can, zeros stand in its place. */
void drive_lost(uint8_t sets)
{
    const struct hal_set missed = {0, 0, 0, 0};
    for (; sets > 0 && trace_filling(); sets--) {
        if (together) {
            drive_set(&missed);
        } else {
            trace_end_here();
            hal_adc_release();
            close_full_trace();
            end_when_done();
        }
    }
}

/* A train that ends by itself has rested before its end. */
static void owe_rest(uint8_t reason)
{
    bool rested = run.plan.rest_ticks != 0 && reason == WIRE_END_REASON_COMPLETE && !run.tripped;
    if (run.begun == 0 || run.plan.sensing || rested) {
        return;
    }
    uint32_t now_ticks = hal_now_ticks();
    if (run.on) {
        run.programme.on = now_ticks - run.on_at;
    }
    for (uint8_t i = 0; i < run.plan.channel_count; i++) {
        rest_owe(run.plan.channels[i], run.programme.on / HAL_TICKS_PER_US, (now_ticks - run.on_at) / HAL_TICKS_PER_US);
    }
}

void drive_report_end(uint8_t reason)
{
    owe_rest(reason);
    struct wire_drive_ended event = {
        .channel = run.plan.channels[0],
        .pulses = run.delivered,
        .reason = run.tripped ? (uint8_t)WIRE_END_REASON_TRIPPED : reason,
    };
    uint8_t body[WIRE_DRIVE_ENDED_BYTES];
    send_event(WIRE_KIND_DRIVE_ENDED, body, wire_encode_drive_ended(&event, body));
}

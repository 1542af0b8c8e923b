#include "drive.h"

#include <string.h>

#include "activity.h"
#include "outputs.h"
#include "send.h"
#include "wire_gen.h"

static struct {
    struct drive_plan plan;
    struct programme programme;
    struct edge next;
    bool edges_left;
    bool on;      /* between the edges of a pulse */
    bool tripped;
    bool rested;  /* the time after the last pulse has passed */
    struct trip_limit limits[PROGRAMME_MAX_CHANNELS];
    struct trip_limit limit; /* of the pulse under way */
    uint8_t sampled;         /* channel that the converter follows */
    uint16_t begun;
    uint16_t delivered;
    uint32_t rest_until;
} run;

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
    if (run.plan.together && run.limits[0].wide == run.limits[1].wide) {
        struct trip_limit *high = run.limits[0].counts > run.limits[1].counts ? &run.limits[0] : &run.limits[1];
        struct trip_limit *low = high == &run.limits[0] ? &run.limits[1] : &run.limits[0];
        high->counts = low->counts;
    } else if (run.plan.together) {
        struct trip_limit fine = run.limits[0].wide ? run.limits[1] : run.limits[0];
        run.limits[0].wide = run.limits[1].wide = false;
        run.limits[0].counts = run.limits[1].counts = fine.counts;
    }
}

void drive_begin(const struct drive_plan *plan, const struct programme *programme)
{
    uint8_t state = plan->sensing ? WIRE_BOX_STATE_SENSING : WIRE_BOX_STATE_DRIVING;
    uint8_t saved = hal_irq_save();
    memset(&run, 0, sizeof run);
    run.plan = *plan;
    run.programme = *programme;
    find_limits();
    run.edges_left = programme_next(&run.programme, &run.next);
    activity_begin(ACTIVITY_DRIVE, plan->channels[0], plan->hazards, plan->pump, state);
    hal_edge_at(run.next.at_ticks);
    hal_irq_restore(saved);
}

static const struct trip_limit *limit_of(uint8_t channel)
{
    uint8_t i = 0;
    while (i + 1u < run.plan.channel_count && run.plan.channels[i] != channel) {
        i++;
    }
    return &run.limits[i];
}

static void begin_pulse(const struct edge *edge)
{
    /* A bridge's current is looked at on its ground side, which is the second of its channels. */
    uint8_t sampled = run.plan.together ? run.plan.channels[1] : edge->channel;
    const struct drive_plan *plan = &run.plan;
    bool traced = plan->trace_every > 0 && plan->trace_samples > 0 && run.begun % plan->trace_every == 0;
    run.on = true;
    run.limit = *limit_of(sampled);
    run.rest_until = edge->at_ticks + plan->rest_ticks;
    if (traced || !trace_filling()) {
        hal_adc_start(sampled);
        run.sampled = sampled;
    }
    if (traced) {
        trace_begin(sampled, run.begun, plan->trace_decimation, plan->trace_samples, edge->at_ticks);
    }
    run.begun++;
}

static void close_full_trace(void)
{
    if (trace_filling() && trace_knows_off() && trace_full()) {
        trace_close(hal_now_ticks());
    }
}

static void rest_converter(void)
{
    if (!run.on && !trace_filling()) {
        hal_adc_stop();
    }
}

static void end_pulse(const struct edge *edge)
{
    run.on = false;
    run.limit.channel = 0;
    run.delivered++;
    trace_pulse_off(edge->at_ticks, false);
    close_full_trace();
    rest_converter();
}

static void end_when_done(void)
{
    if (!run.edges_left && !run.on && run.rested && !trace_filling()) {
        activity_over();
    }
}

static void apply(const struct edge *edge)
{
    outputs_set(edge->channel, (enum hal_drive)edge->drive);
    if (edge->mark == MARK_PULSE_ON) {
        begin_pulse(edge);
    } else if (edge->mark == MARK_PULSE_OFF) {
        end_pulse(edge);
    }
}

static bool due(uint32_t at_ticks)
{
    return (int32_t)(hal_now_ticks() - at_ticks) >= 0;
}

void drive_edge(void)
{
    while (run.edges_left && due(run.next.at_ticks)) {
        struct edge edge = run.next;
        apply(&edge);
        run.edges_left = programme_next(&run.programme, &run.next);
    }
    if (run.edges_left) {
        hal_edge_at(run.next.at_ticks);
    } else if (!run.on && !due(run.rest_until)) {
        hal_edge_at(run.rest_until);
    } else if (!run.on) {
        run.rested = true;
        end_when_done();
    }
}

void drive_current(uint16_t fine, uint16_t wide)
{
    if (!run.on || !trip_is_over(&run.limit, fine, wide)) {
        return;
    }
    /* A bridge's two channels share one current: the trip is told of the drive's channel. */
    trip_now(run.plan.together ? run.plan.channels[0] : run.limit.channel, fine, wide);
    hal_edge_cancel();
    run.tripped = true;
    run.on = false;
    run.limit.channel = 0;
    run.edges_left = false;
    run.rested = true;
    trace_pulse_off(hal_now_ticks(), true);
    close_full_trace();
    end_when_done();
}

void drive_set(const struct sample_set *set)
{
    if (trace_filling() && trace_put(set)) {
        close_full_trace();
        rest_converter();
        end_when_done();
    }
}

void drive_tell_end(uint8_t reason)
{
    struct wire_drive_ended event = {
        .channel = run.plan.channels[0],
        .pulses = run.delivered,
        .reason = run.tripped ? (uint8_t)WIRE_END_REASON_TRIPPED : reason,
    };
    uint8_t body[WIRE_DRIVE_ENDED_BYTES];
    send_event(WIRE_KIND_DRIVE_ENDED, body, wire_encode_drive_ended(&event, body));
}

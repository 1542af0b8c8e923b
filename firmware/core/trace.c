/* SPDX-License-Identifier: MIT */
#include "trace.h"

#include <string.h>

#include "core_config.h"
#include "send.h"
#include "wire_messages_gen.h"

#define NONE 0xFFU
#define SET_BYTES_ON_WIRE 8U
#define CHUNK_HEAD_BYTES 4U

enum state { EMPTY, FILLING, CLOSED, HELD };

struct trace {
    volatile uint8_t state;
    volatile uint8_t order; /* of closing, modulo 256 */
    uint8_t channel;
    uint8_t decimation;
    bool read;
    bool off_known;
    bool tripped;
    uint16_t id;
    uint16_t pulse_index;
    uint16_t wanted;
    uint16_t count;
    uint32_t on_ticks;
    uint32_t off_ticks;
};

static const struct hal_board *board;
static struct trace traces[CORE_TRACE_BUFFERS];
static uint8_t filling = NONE;
static struct trace *filled; /* the same as a pointer */
static uint8_t *write_at; /* where the next set of it goes */
static uint8_t closed_order;
static uint16_t last_id;
static volatile uint16_t overruns;

void trace_reset(const struct hal_board *the_board)
{
    board = the_board;
    memset(traces, 0, sizeof traces);
    filling = NONE;
    closed_order = 0;
    last_id = 0;
    overruns = 0;
}

static bool holds(const struct trace *trace)
{
    return trace->state == CLOSED || trace->state == HELD;
}

/* Index of an empty buffer; one more is kept than is held, so there is one. */
static uint8_t empty_buffer(void)
{
    for (uint8_t i = 0; i < board->trace_buffers; i++) {
        if (traces[i].state == EMPTY) {
            return i;
        }
    }
    return NONE;
}

_Static_assert((unsigned long)CORE_TRACE_BUFFERS * WIRE_MAX_TRACE_SAMPLES * HAL_TRACE_SET_BYTES <= UINT16_MAX,
               "offsets in the trace memory are of 16 bits");

static uint8_t *set_at(uint8_t buffer, uint16_t index)
{
    uint16_t set = (uint16_t)(buffer * board->max_trace_samples + index);
    return board->trace_memory + (uint16_t)(set * HAL_TRACE_SET_BYTES);
}

void trace_begin(uint8_t channel, uint16_t pulse_index, uint8_t decimation, uint16_t sets, uint32_t on_ticks)
{
    if (filling != NONE) {
        trace_close(on_ticks);
    }
    filling = empty_buffer();
    if (filling == NONE) {
        return;
    }
    struct trace *trace = &traces[filling];
    filled = trace;
    trace->state = FILLING;
    trace->channel = channel;
    trace->decimation = decimation;
    trace->read = false;
    trace->off_known = false;
    trace->tripped = false;
    trace->id = 0;
    trace->pulse_index = pulse_index;
    trace->wanted = sets;
    trace->count = 0;
    trace->on_ticks = on_ticks;
    write_at = set_at(filling, 0);
}

bool trace_filling(void)
{
    return filling != NONE;
}

/* Four 10-bit counts in five bytes: the low bytes, then the high bits together. */
static void pack(uint8_t *at, const struct hal_set *set)
{
    at[0] = (uint8_t)(set->fine & 0xFFU);
    at[1] = (uint8_t)(set->wide & 0xFFU);
    at[2] = (uint8_t)(set->supply & 0xFFU);
    at[3] = (uint8_t)(set->drain & 0xFFU);
    at[4] =
        (uint8_t)((set->fine >> 8) | ((set->wide >> 8) << 2) | ((set->supply >> 8) << 4) | ((set->drain >> 8) << 6));
}

static void unpack_to_wire(const uint8_t *at, uint8_t *wire)
{
    uint8_t high = at[4];
    wire[0] = at[0];
    wire[1] = high & 0x03U;
    wire[2] = at[1];
    wire[3] = (high >> 2) & 0x03U;
    wire[4] = at[2];
    wire[5] = (high >> 4) & 0x03U;
    wire[6] = at[3];
    wire[7] = high >> 6;
}

bool trace_put(const struct hal_set *set)
{
    struct trace *trace = filled;
    if (trace->count == trace->wanted) {
        return true;
    }
    pack(write_at, set);
    write_at += HAL_TRACE_SET_BYTES;
    trace->count++;
    return trace->count == trace->wanted;
}

void trace_end_here(void)
{
    if (filling != NONE) {
        traces[filling].wanted = traces[filling].count;
    }
}

bool trace_full(void)
{
    return traces[filling].count == traces[filling].wanted;
}

void trace_pulse_off(uint32_t off_ticks, bool tripped)
{
    if (filling == NONE) {
        return;
    }
    struct trace *trace = &traces[filling];
    trace->tripped = trace->tripped || tripped;
    if (!trace->off_known) {
        trace->off_known = true;
        trace->off_ticks = off_ticks;
    }
}

bool trace_knows_off(void)
{
    return filling != NONE && traces[filling].off_known;
}

static uint8_t oldest_held(uint8_t *held)
{
    uint8_t oldest = NONE;
    uint8_t age = 0;
    *held = 0;
    for (uint8_t i = 0; i < board->trace_buffers; i++) {
        if (holds(&traces[i])) {
            (*held)++;
            uint8_t this_age = (uint8_t)(closed_order - traces[i].order);
            if (oldest == NONE || this_age > age) {
                oldest = i;
                age = this_age;
            }
        }
    }
    return oldest;
}

static void push_out_oldest(void)
{
    uint8_t held;
    uint8_t oldest = oldest_held(&held);
    if (held + 1U < board->trace_buffers) {
        return;
    }
    if (!traces[oldest].read && overruns < UINT16_MAX) {
        overruns++;
    }
    traces[oldest].state = EMPTY;
}

void trace_close(uint32_t now_ticks)
{
    if (filling == NONE) {
        return;
    }
    struct trace *trace = &traces[filling];
    trace_pulse_off(now_ticks, false);
    push_out_oldest();
    closed_order++;
    trace->order = closed_order;
    trace->state = CLOSED;
    filling = NONE;
}

/* Whether the pulse was longer than the trace. */
static bool truncated(const struct trace *trace)
{
    int32_t last = (int32_t)board->first_sample_ticks +
                   ((int32_t)trace->count - 1) * (int32_t)board->sample_period_ticks * trace->decimation;
    return (int32_t)(trace->off_ticks - trace->on_ticks) > last;
}

static void announce(struct trace *trace)
{
    last_id = last_id == UINT16_MAX ? 1U : (uint16_t)(last_id + 1U);
    trace->id = last_id;
    struct wire_trace_ready ready = {
        .trace_id = last_id,
        .channel = trace->channel,
        .pulse_index = trace->pulse_index,
        .sample_count = trace->count,
        .sample_period_ns = board->sample_period_ns * trace->decimation,
        .on_time_us = (trace->off_ticks - trace->on_ticks + 1U) / HAL_TICKS_PER_US,
        .first_sample_ns = board->first_sample_ns,
        .supply_skew_ns = board->supply_skew_ns,
        .drain_skew_ns = board->drain_skew_ns,
        .truncated = truncated(trace),
        .tripped = trace->tripped,
    };
    trace->state = HELD;
    uint8_t body[WIRE_TRACE_READY_BYTES];
    send_event(WIRE_KIND_TRACE_READY, body, wire_encode_trace_ready(&ready, body));
}

/* The trace that was closed first and is not yet reported; NONE when all are. */
static uint8_t first_unreported(void)
{
    uint8_t first = NONE;
    for (uint8_t i = 0; i < board->trace_buffers; i++) {
        if (traces[i].state == CLOSED && (first == NONE || (int8_t)(traces[i].order - traces[first].order) < 0)) {
            first = i;
        }
    }
    return first;
}

void trace_announce(void)
{
    /* No more than there are: a dense train closes them faster than the line can report them, and the main loop has
     * more to do. */
    for (uint8_t left = board->trace_buffers; left > 0; left--) {
        uint8_t i = first_unreported();
        if (i == NONE) {
            return;
        }
        announce(&traces[i]);
    }
}

static uint8_t find(uint16_t trace_id)
{
    for (uint8_t i = 0; i < board->trace_buffers; i++) {
        if (traces[i].state == HELD && traces[i].id == trace_id) {
            return i;
        }
    }
    return NONE;
}

struct refusal trace_chunk(uint16_t trace_id, uint16_t first_sample, uint8_t *body, uint16_t *size)
{
    struct refusal refusal = {REFUSAL_NONE, 0};
    uint8_t buffer = find(trace_id);
    if (buffer == NONE) {
        refusal.reason = WIRE_REFUSAL_NO_TRACE;
        refusal.detail = trace_id;
        return refusal;
    }
    struct trace *trace = &traces[buffer];
    if (first_sample >= trace->count && first_sample > 0) {
        refusal.reason = WIRE_REFUSAL_OUT_OF_RANGE;
        refusal.detail = WIRE_READ_TRACE_FIELD_FIRST_SAMPLE;
        return refusal;
    }
    uint16_t left = (uint16_t)(trace->count - first_sample);
    uint16_t sets = left < WIRE_SAMPLES_PER_CHUNK ? left : (uint16_t)WIRE_SAMPLES_PER_CHUNK;
    wire_put_u16(body, trace_id);
    wire_put_u16(body + 2, first_sample);
    const uint8_t *from = set_at(buffer, first_sample);
    uint8_t *to = body + CHUNK_HEAD_BYTES;
    for (uint16_t left_sets = sets; left_sets > 0; left_sets--) {
        unpack_to_wire(from, to);
        from += HAL_TRACE_SET_BYTES;
        to += SET_BYTES_ON_WIRE;
    }
    *size = (uint16_t)(CHUNK_HEAD_BYTES + sets * SET_BYTES_ON_WIRE);
    if (find(trace_id) == NONE) { /* pushed out while it was copied */
        refusal.reason = WIRE_REFUSAL_NO_TRACE;
        refusal.detail = trace_id;
    } else if (first_sample + sets >= trace->count) {
        trace->read = true;
    }
    return refusal;
}

uint16_t trace_max_samples(void)
{
    return board->max_trace_samples;
}

uint8_t trace_free(void)
{
    uint8_t unread = 0;
    for (uint8_t i = 0; i < board->trace_buffers; i++) {
        unread = (uint8_t)(unread + (holds(&traces[i]) && !traces[i].read));
    }
    return (uint8_t)(board->trace_buffers - 1U - unread);
}

uint16_t trace_overruns(void)
{
    uint8_t saved = hal_irq_save();
    uint16_t count = overruns;
    hal_irq_restore(saved);
    return count;
}

/* SPDX-License-Identifier: MIT */
#include "programme.h"

#include <string.h>

#include "core_config.h"

#define PERMILLE 1000U

enum { TRAIN, PEAK_HOLD, STEPPER, BRIDGE };
enum { PHASE_ON, PHASE_OFF, PHASE_CHOP, PHASE_CHOP_BACK, PHASE_GROUND, PHASE_SUPPLY, PHASE_END };

static void clear(struct programme *p, uint8_t kind, uint32_t start_ticks)
{
    memset(p, 0, sizeof *p);
    p->kind = kind;
    p->phase = PHASE_ON;
    p->start = start_ticks;
}

void programme_train(struct programme *p, uint32_t start_ticks, uint8_t channel, uint16_t count, uint32_t period_us,
                     uint32_t on_time_us)
{
    clear(p, TRAIN, start_ticks);
    p->channels[0] = channel;
    p->left = count;
    p->period = period_us * HAL_TICKS_PER_US;
    p->on = on_time_us * HAL_TICKS_PER_US;
}

void programme_peak_hold(struct programme *p, uint32_t start_ticks, const struct wire_drive_peak_hold *request)
{
    programme_train(p, start_ticks, request->channel, request->count, request->period_us, request->on_time_us);
    p->kind = PEAK_HOLD;
    p->peak = request->peak_us * HAL_TICKS_PER_US;
    p->chop = (uint16_t)(request->chop_period_us * HAL_TICKS_PER_US);
    p->chop_part = (uint16_t)((uint32_t)p->chop * (PERMILLE - request->chop_duty_permille) / PERMILLE);
}

void programme_stepper(struct programme *p, uint32_t start_ticks, const struct wire_drive_stepper *request)
{
    clear(p, STEPPER, start_ticks);
    bool backwards = request->steps < 0;
    for (uint8_t i = 0; i < PROGRAMME_MAX_CHANNELS; i++) {
        p->channels[i] = request->channels[backwards ? PROGRAMME_MAX_CHANNELS - 1U - i : i];
    }
    p->left = (uint16_t)(backwards ? -request->steps : request->steps);
    p->period = request->step_us * HAL_TICKS_PER_US;
    p->on = p->period;
}

void programme_bridge(struct programme *p, uint32_t start_ticks, const struct wire_drive_bridge *request)
{
    clear(p, BRIDGE, start_ticks);
    p->phase = PHASE_GROUND;
    p->channels[0] = request->channel_supply;
    p->channels[1] = request->channel_ground;
    p->on = (uint32_t)request->duration_ms * HAL_TICKS_PER_MS;
    p->chop = (uint16_t)(request->chop_period_us * HAL_TICKS_PER_US);
    uint16_t high = (uint16_t)((uint32_t)p->chop * request->duty_permille / PERMILLE);
    p->chop_part = (uint16_t)(p->chop - high);
    p->chop_at = start_ticks + high;
}

static bool before(uint32_t a, uint32_t b)
{
    return (int32_t)(a - b) < 0;
}

static void set(struct hal_edge *edge, uint32_t at_ticks, uint8_t channel, uint8_t drive, uint8_t sampling)
{
    edge->at_ticks = at_ticks;
    edge->channel = channel;
    edge->drive = drive;
    edge->sampling = sampling;
    edge->again_ticks = 0;
}

static void next_pulse(struct programme *p)
{
    p->left--;
    p->start += p->period;
    p->place = (uint8_t)((p->place + 1U) % PROGRAMME_MAX_CHANNELS);
    p->phase = PHASE_ON;
}

static bool pulse_edge(struct programme *p, struct hal_edge *edge)
{
    uint8_t channel = p->channels[p->kind == STEPPER ? p->place : 0];
    if (p->phase == PHASE_ON) {
        if (p->left == 0) {
            return false;
        }
        set(edge, p->start, channel, HAL_ON, HAL_SAMPLING_PULSE);
        p->phase = p->kind == PEAK_HOLD ? PHASE_CHOP : PHASE_OFF;
        p->chop_at = p->start + p->peak;
        return true;
    }
    set(edge, p->start + p->on, channel, HAL_OFF, HAL_SAMPLING_END);
    next_pulse(p);
    return true;
}

/* How often an edge comes again before the end. */
static uint16_t times_before(const struct programme *p, uint32_t at_ticks, uint32_t end)
{
    uint32_t times = (end - 1U - at_ticks) / p->chop;
    return times < UINT16_MAX ? (uint16_t)times : (uint16_t)(UINT16_MAX - 1U);
}

/* The chop edges that still come before the end, as two edges by turns: one away from the state at the chop's begin at
 * p->chop_at, one back to it. More than a board can count follow as another two. False: none are left. */
static bool chop_edge(struct programme *p, struct hal_edge *edge, uint32_t end, uint8_t away, uint8_t back)
{
    uint32_t back_at = p->chop_at + p->chop_part;
    if (p->phase == PHASE_CHOP && before(p->chop_at, end)) {
        set(edge, p->chop_at, p->channels[0], away, HAL_SAMPLING_LEAVE);
        if (before(back_at, end)) {
            edge->again_ticks = p->chop;
            edge->times = times_before(p, p->chop_at, end);
            p->phase = PHASE_CHOP_BACK;
        } else {
            p->chop_at = end;
        }
        return true;
    }
    if (p->phase == PHASE_CHOP_BACK) {
        set(edge, back_at, p->channels[0], back, HAL_SAMPLING_LEAVE);
        edge->again_ticks = p->chop;
        edge->times = times_before(p, back_at, end);
        p->chop_at += ((uint32_t)times_before(p, p->chop_at, end) + 1U) * p->chop;
        p->phase = PHASE_CHOP;
        return true;
    }
    return false;
}

static bool chopped_edge(struct programme *p, struct hal_edge *edge)
{
    if (chop_edge(p, edge, p->start + p->on, HAL_OFF, HAL_ON)) {
        return true;
    }
    if (p->phase == PHASE_CHOP) {
        p->phase = PHASE_OFF;
    }
    return pulse_edge(p, edge);
}

/* The first high part is the pulse's begin; from its end on the supply side goes low and high by turns. */
static bool bridge_edge(struct programme *p, struct hal_edge *edge)
{
    uint8_t supply = p->channels[0];
    uint8_t ground = p->channels[1];
    uint32_t end = p->start + p->on;
    if (chop_edge(p, edge, end, HAL_LOW, HAL_HIGH)) {
        return true;
    }
    switch (p->phase) {
    case PHASE_GROUND:
        /* the first of the two: a board may be late for the other */
        set(edge, p->start, ground, HAL_LOW, HAL_SAMPLING_PULSE);
        p->phase = PHASE_SUPPLY;
        return true;
    case PHASE_SUPPLY:
        set(edge, p->start, supply, HAL_HIGH, HAL_SAMPLING_LEAVE);
        p->phase = PHASE_CHOP;
        return true;
    case PHASE_CHOP:
        set(edge, end, supply, HAL_OFF, HAL_SAMPLING_LEAVE);
        p->phase = PHASE_END;
        return true;
    case PHASE_END:
        set(edge, end, ground, HAL_OFF, HAL_SAMPLING_END);
        p->phase = PHASE_ON; /* over: nothing handles it */
        return true;
    default:
        return false;
    }
}

uint8_t programme_edges_at_once(const struct programme *p)
{
    return p->kind == PEAK_HOLD || p->kind == BRIDGE ? HAL_EDGES_AHEAD : 2U;
}

bool programme_next(struct programme *p, struct hal_edge *edge)
{
    switch (p->kind) {
    case PEAK_HOLD:
        return chopped_edge(p, edge);
    case BRIDGE:
        return CORE_HALF_BRIDGES && bridge_edge(p, edge);
    default:
        return pulse_edge(p, edge);
    }
}

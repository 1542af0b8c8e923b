#include "programme.h"

#include <string.h>

#define PERMILLE 1000u

enum { TRAIN, PEAK_HOLD, STEPPER, BRIDGE };
enum { PHASE_ON, PHASE_OFF, PHASE_CHOP_OFF, PHASE_CHOP_ON, PHASE_GROUND, PHASE_SUPPLY, PHASE_HIGH, PHASE_LOW, PHASE_END };

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
        p->channels[i] = request->channels[backwards ? PROGRAMME_MAX_CHANNELS - 1u - i : i];
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
    p->chop_part = (uint16_t)((uint32_t)p->chop * request->duty_permille / PERMILLE);
    p->chop_at = start_ticks;
}

static bool before(uint32_t a, uint32_t b)
{
    return (int32_t)(a - b) < 0;
}

static void set(struct edge *edge, uint32_t at_ticks, uint8_t channel, uint8_t drive, uint8_t mark)
{
    edge->at_ticks = at_ticks;
    edge->channel = channel;
    edge->drive = drive;
    edge->mark = mark;
}

static void next_pulse(struct programme *p)
{
    p->left--;
    p->start += p->period;
    p->place = (uint8_t)((p->place + 1u) % PROGRAMME_MAX_CHANNELS);
    p->phase = PHASE_ON;
}

static bool pulse_edge(struct programme *p, struct edge *edge)
{
    uint8_t channel = p->channels[p->kind == STEPPER ? p->place : 0];
    if (p->phase == PHASE_ON) {
        if (p->left == 0) {
            return false;
        }
        set(edge, p->start, channel, HAL_ON, MARK_PULSE_ON);
        p->phase = p->kind == PEAK_HOLD ? PHASE_CHOP_OFF : PHASE_OFF;
        p->chop_at = p->start + p->peak;
        return true;
    }
    set(edge, p->start + p->on, channel, HAL_OFF, MARK_PULSE_OFF);
    next_pulse(p);
    return true;
}

static bool chopped_edge(struct programme *p, struct edge *edge)
{
    uint32_t end = p->start + p->on;
    if (p->phase == PHASE_CHOP_OFF && before(p->chop_at, end)) {
        set(edge, p->chop_at, p->channels[0], HAL_OFF, MARK_WITHIN);
        p->phase = PHASE_CHOP_ON;
        return true;
    }
    if (p->phase == PHASE_CHOP_ON && before(p->chop_at + p->chop_part, end)) {
        set(edge, p->chop_at + p->chop_part, p->channels[0], HAL_ON, MARK_WITHIN);
        p->chop_at += p->chop;
        p->phase = PHASE_CHOP_OFF;
        return true;
    }
    if (p->phase == PHASE_CHOP_OFF || p->phase == PHASE_CHOP_ON) {
        p->phase = PHASE_OFF;
    }
    return pulse_edge(p, edge);
}

/* After a chop edge: the next one, unless the drive ends first. */
static uint8_t bridge_phase(const struct programme *p, uint32_t next, uint8_t phase)
{
    return before(next, p->start + p->on) ? phase : (uint8_t)PHASE_OFF;
}

static bool bridge_edge(struct programme *p, struct edge *edge)
{
    uint8_t supply = p->channels[0];
    uint8_t ground = p->channels[1];
    switch (p->phase) {
    case PHASE_GROUND:
        set(edge, p->start, ground, HAL_LOW, MARK_WITHIN);
        p->phase = PHASE_SUPPLY;
        return true;
    case PHASE_SUPPLY:
    case PHASE_HIGH:
        set(edge, p->chop_at, supply, HAL_HIGH, p->phase == PHASE_SUPPLY ? MARK_PULSE_ON : MARK_WITHIN);
        p->phase = bridge_phase(p, p->chop_at + p->chop_part, PHASE_LOW);
        return true;
    case PHASE_LOW:
        set(edge, p->chop_at + p->chop_part, supply, HAL_LOW, MARK_WITHIN);
        p->chop_at += p->chop;
        p->phase = bridge_phase(p, p->chop_at, PHASE_HIGH);
        return true;
    case PHASE_OFF:
        set(edge, p->start + p->on, supply, HAL_OFF, MARK_WITHIN);
        p->phase = PHASE_END;
        return true;
    case PHASE_END:
        set(edge, p->start + p->on, ground, HAL_OFF, MARK_PULSE_OFF);
        p->phase = PHASE_ON; /* over: nothing handles it */
        return true;
    default:
        return false;
    }
}

bool programme_next(struct programme *p, struct edge *edge)
{
    switch (p->kind) {
    case PEAK_HOLD:
        return chopped_edge(p, edge);
    case BRIDGE:
        return bridge_edge(p, edge);
    default:
        return pulse_edge(p, edge);
    }
}

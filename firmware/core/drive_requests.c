/* SPDX-License-Identifier: MIT */
#include "drive_requests.h"

#include <string.h>

#include "activity.h"
#include "arming.h"
#include "core_config.h"
#include "drive.h"
#include "guard.h"
#include "limits.h"
#include "programme.h"
#include "rest.h"
#include "trace.h"
#include "trip.h"
#include "watch.h"
#include "wire_messages_gen.h"

#define PERMILLE 1000U
/* Kinds of driver that a request accepts; bit n is kind n. */
#define POWERED_KINDS ((1U << WIRE_CHANNEL_KIND_LOW_SIDE) | (1U << WIRE_CHANNEL_KIND_HIGH_SIDE))
#define SWITCHED_KINDS (POWERED_KINDS | (1U << WIRE_CHANNEL_KIND_LOGIC))
#define BRIDGE_KINDS (1U << WIRE_CHANNEL_KIND_HALF_BRIDGE)

/* The channels of a request, and what they need. */
struct wanted {
    const uint8_t *channels;
    uint8_t count;
    uint8_t kinds;
    bool needs_arming;
};

static uint8_t hazards_of(const struct wanted *wanted)
{
    uint8_t hazards = 0;
    for (uint8_t i = 0; wanted->needs_arming && i < wanted->count; i++) {
        hazards = (uint8_t)(hazards | limits_hazards(wanted->channels[i]));
    }
    return hazards;
}

static struct refusal check_channels(const struct wanted *wanted)
{
    for (uint8_t i = 0; i < wanted->count; i++) {
        struct refusal refusal = limits_check_channel(wanted->channels[i]);
        if (refusal.reason != REFUSAL_NONE) {
            return refusal;
        }
    }
    for (uint8_t i = 0; i < wanted->count; i++) {
        if (!(wanted->kinds & (1U << limits_kind_of(wanted->channels[i])))) {
            return refusal_of(WIRE_REFUSAL_WRONG_KIND, wanted->channels[i]);
        }
    }
    for (uint8_t i = 0; i < wanted->count; i++) {
        if (limits_config(wanted->channels[i])->load_class == WIRE_LOAD_CLASS_NONE) {
            return refusal_of(WIRE_REFUSAL_NOT_CONFIGURED, wanted->channels[i]);
        }
    }
    return refusal_none();
}

/* A drive of several channels cannot both need `fuel` and run the pump, which takes that arming away. */
static struct refusal check_pump_and_fuel(const struct wanted *wanted)
{
    bool fuel = (hazards_of(wanted) & (1U << WIRE_HAZARD_FUEL)) != 0;
    for (uint8_t i = 0; fuel && i < wanted->count; i++) {
        if (limits_config(wanted->channels[i])->fuel_pump) {
            return refusal_of(WIRE_REFUSAL_PUMP_CHANNEL, wanted->channels[i]);
        }
    }
    return refusal_none();
}

static struct refusal check_free(const struct wanted *wanted)
{
    for (uint8_t i = 0; i < wanted->count; i++) {
        if (trip_mask() & (1U << (wanted->channels[i] - 1U))) {
            return refusal_of(WIRE_REFUSAL_TRIPPED, wanted->channels[i]);
        }
    }
    uint8_t missing = arming_missing(hazards_of(wanted));
    if (missing != WIRE_HAZARD_NONE) {
        return refusal_of(WIRE_REFUSAL_NOT_ARMED, missing);
    }
    struct refusal refusal = check_pump_and_fuel(wanted);
    if (refusal.reason == REFUSAL_NONE) {
        refusal = activity_check_busy();
    }
    for (uint8_t i = 0; refusal.reason == REFUSAL_NONE && wanted->needs_arming && i < wanted->count; i++) {
        refusal = rest_check(wanted->channels[i]);
    }
    return refusal;
}

/* Everything but range and limits. */
static struct refusal check(const struct wanted *wanted)
{
    struct refusal refusal = check_channels(wanted);
    if (refusal.reason == REFUSAL_NONE) {
        refusal = guard_check_ready();
    }
    if (refusal.reason == REFUSAL_NONE) {
        refusal = check_free(wanted);
    }
    return refusal;
}

static struct wanted one(const uint8_t *channel, uint8_t kinds)
{
    struct wanted wanted = {.channels = channel, .count = 1, .kinds = kinds, .needs_arming = true};
    return wanted;
}

/* A board that holds shorter traces than the wire allows refuses longer ones. */
static struct refusal check_samples(uint16_t samples, uint8_t field)
{
    return samples > trace_max_samples() ? refusal_of(WIRE_REFUSAL_OUT_OF_RANGE, field) : refusal_none();
}

/* Everything but the limits, once a request is decoded: `field` is what the decoder returned. */
static struct refusal ready(uint8_t field, uint16_t trace_samples, uint8_t samples_field, const struct wanted *wanted)
{
    struct refusal refusal = refusal_of_field(field);
    if (refusal.reason == REFUSAL_NONE) {
        refusal = check_samples(trace_samples, samples_field);
    }
    return refusal.reason == REFUSAL_NONE ? check(wanted) : refusal;
}

/* Drops the arming of fuel before a fuel pump runs. */
static bool pump_starts(const struct wanted *wanted)
{
    bool pump = false;
    for (uint8_t i = 0; wanted->needs_arming && i < wanted->count; i++) {
        pump = pump || limits_config(wanted->channels[i])->fuel_pump;
    }
    if (pump) {
        arming_drop(WIRE_HAZARD_FUEL, WIRE_DISARM_REASON_PUMP_DRIVEN);
    }
    return pump;
}

/* A drive to be filled in further, then begun. */
static struct drive_run *drive_of(const struct wanted *wanted)
{
    struct drive_run *drive = drive_blank();
    memcpy(drive->plan.channels, wanted->channels, wanted->count);
    drive->plan.channel_count = wanted->count;
    drive->plan.hazards = hazards_of(wanted);
    drive->plan.pump = pump_starts(wanted);
    drive->plan.sensing = !wanted->needs_arming;
    return drive;
}

static void trace_pulses(struct drive_run *drive, uint16_t every, uint8_t decimation, uint16_t samples)
{
    drive->plan.trace_every = every;
    drive->plan.trace_decimation = decimation;
    drive->plan.trace_samples = samples;
}

/* How long a train lasts after its last switch-on edge, so that one straight after it keeps the duty. */
static uint32_t rest_ticks(uint8_t channel, uint32_t on_time_us)
{
    uint32_t duty = limits_config(channel)->max_duty_permille;
    return (on_time_us * PERMILLE + duty - 1U) / duty * HAL_TICKS_PER_US;
}

struct refusal drive_requests_train(const struct receive_frame *frame)
{
    struct wire_drive_train r;
    struct wanted wanted = one(&r.channel, SWITCHED_KINDS);
    uint8_t field = wire_decode_drive_train(frame->body, frame->size, &r);
    struct refusal refusal = ready(field, r.trace_samples, WIRE_DRIVE_TRAIN_FIELD_TRACE_SAMPLES, &wanted);
    if (refusal.reason == REFUSAL_NONE) {
        refusal = limits_check_pulses(r.channel, r.count, r.period_us, r.on_time_us);
    }
    if (refusal.reason != REFUSAL_NONE) {
        return refusal;
    }
    struct drive_run *drive = drive_of(&wanted);
    trace_pulses(drive, r.trace_every, r.trace_decimation, r.trace_samples);
    drive->plan.rest_ticks = rest_ticks(r.channel, r.on_time_us);
    programme_train(&drive->programme, hal_now_ticks() + CORE_START_TICKS, r.channel, r.count, r.period_us,
                    r.on_time_us);
    drive_begin();
    return refusal;
}

struct refusal drive_requests_hold(const struct receive_frame *frame)
{
    struct wire_drive_hold r;
    struct wanted wanted = one(&r.channel, SWITCHED_KINDS);
    uint8_t field = wire_decode_drive_hold(frame->body, frame->size, &r);
    struct refusal refusal = ready(field, r.trace_samples, WIRE_DRIVE_HOLD_FIELD_TRACE_SAMPLES, &wanted);
    if (refusal.reason == REFUSAL_NONE) {
        refusal = limits_check_hold(r.channel, r.duration_ms);
    }
    if (refusal.reason != REFUSAL_NONE) {
        return refusal;
    }
    struct drive_run *drive = drive_of(&wanted);
    trace_pulses(drive, 1, r.trace_decimation, r.trace_samples);
    uint32_t duration_us = (uint32_t)r.duration_ms * (HAL_TICKS_PER_MS / HAL_TICKS_PER_US);
    programme_train(&drive->programme, hal_now_ticks() + CORE_START_TICKS, r.channel, 1, duration_us, duration_us);
    drive_begin();
    return refusal;
}

struct refusal drive_requests_peak_hold(const struct receive_frame *frame)
{
    struct wire_drive_peak_hold r;
    struct wanted wanted = one(&r.channel, POWERED_KINDS);
    uint8_t field = wire_decode_drive_peak_hold(frame->body, frame->size, &r);
    if (field == WIRE_OK && r.peak_us > r.on_time_us) {
        field = WIRE_DRIVE_PEAK_HOLD_FIELD_PEAK_US;
    }
    struct refusal refusal = ready(field, r.trace_samples, WIRE_DRIVE_PEAK_HOLD_FIELD_TRACE_SAMPLES, &wanted);
    if (refusal.reason == REFUSAL_NONE) {
        refusal = limits_check_pulses(r.channel, r.count, r.period_us, r.on_time_us);
    }
    if (refusal.reason != REFUSAL_NONE) {
        return refusal;
    }
    struct drive_run *drive = drive_of(&wanted);
    trace_pulses(drive, r.trace_every, r.trace_decimation, r.trace_samples);
    drive->plan.rest_ticks = rest_ticks(r.channel, r.on_time_us);
    programme_peak_hold(&drive->programme, hal_now_ticks() + CORE_START_TICKS, &r);
    drive_begin();
    return refusal;
}

static bool all_different(const uint8_t *channels)
{
    uint16_t seen = 0;
    for (uint8_t i = 0; i < PROGRAMME_MAX_CHANNELS; i++) {
        uint16_t bit = (uint16_t)(1U << (channels[i] - 1U));
        if (seen & bit) {
            return false;
        }
        seen = (uint16_t)(seen | bit);
    }
    return true;
}

struct refusal drive_requests_stepper(const struct receive_frame *frame)
{
    struct wire_drive_stepper r;
    struct wanted wanted = one(r.channels, POWERED_KINDS);
    wanted.count = PROGRAMME_MAX_CHANNELS;
    uint8_t field = wire_decode_drive_stepper(frame->body, frame->size, &r);
    if (field == WIRE_OK && r.steps == 0) {
        field = WIRE_DRIVE_STEPPER_FIELD_STEPS;
    } else if (field == WIRE_OK && !all_different(r.channels)) {
        field = WIRE_DRIVE_STEPPER_FIELD_CHANNELS;
    }
    struct refusal refusal = ready(field, 0, 0, &wanted);
    for (uint8_t i = 0; refusal.reason == REFUSAL_NONE && i < PROGRAMME_MAX_CHANNELS; i++) {
        refusal = limits_check_step(r.channels[i], r.steps, r.step_us);
    }
    if (refusal.reason != REFUSAL_NONE) {
        return refusal;
    }
    struct drive_run *drive = drive_of(&wanted);
    programme_stepper(&drive->programme, hal_now_ticks() + CORE_START_TICKS, &r);
    drive_begin();
    return refusal;
}

static struct refusal check_bridge_limits(const struct wire_drive_bridge *r, const uint8_t *channels)
{
    for (uint8_t i = 0; i < 2U; i++) {
        struct refusal refusal = limits_check_hold(channels[i], r->duration_ms);
        if (refusal.reason != REFUSAL_NONE) {
            return refusal;
        }
        uint16_t duty = limits_config(channels[i])->max_duty_permille;
        if (r->duty_permille > duty) {
            return refusal_of(WIRE_REFUSAL_OVER_DUTY, duty);
        }
    }
    return refusal_none();
}

struct refusal drive_requests_bridge(const struct receive_frame *frame)
{
    struct wire_drive_bridge r;
    uint8_t field = wire_decode_drive_bridge(frame->body, frame->size, &r);
    const uint8_t channels[2] = {r.channel_supply, r.channel_ground};
    struct wanted wanted = one(channels, BRIDGE_KINDS);
    wanted.count = 2;
    if (field == WIRE_OK && r.channel_supply == r.channel_ground) {
        field = WIRE_DRIVE_BRIDGE_FIELD_CHANNEL_GROUND;
    }
    struct refusal refusal = ready(field, r.trace_samples, WIRE_DRIVE_BRIDGE_FIELD_TRACE_SAMPLES, &wanted);
    if (CORE_HALF_BRIDGES && refusal.reason == REFUSAL_NONE) {
        refusal = check_bridge_limits(&r, channels);
    }
    if (refusal.reason != REFUSAL_NONE || !CORE_HALF_BRIDGES) { /* without any, it was refused for their kind */
        return refusal;
    }
    struct drive_run *drive = drive_of(&wanted);
    drive->plan.together = true;
    trace_pulses(drive, 1, r.trace_decimation, r.trace_samples);
    programme_bridge(&drive->programme, hal_now_ticks() + CORE_START_TICKS, &r);
    drive_begin();
    return refusal;
}

struct refusal drive_requests_sense(const struct receive_frame *frame)
{
    struct wire_sense r;
    struct wanted wanted = one(&r.channel, SWITCHED_KINDS);
    wanted.needs_arming = false;
    uint8_t field = wire_decode_sense(frame->body, frame->size, &r);
    struct refusal refusal = ready(field, r.trace_samples, WIRE_SENSE_FIELD_TRACE_SAMPLES, &wanted);
    if (refusal.reason == REFUSAL_NONE) {
        uint16_t cap_us = limits_sense_cap_us(r.channel, guard_supply_mv());
        if (r.on_time_us > cap_us) {
            refusal = refusal_of(WIRE_REFUSAL_OVER_ON_TIME, cap_us);
        }
    }
    if (refusal.reason != REFUSAL_NONE) {
        return refusal;
    }
    struct drive_run *drive = drive_of(&wanted);
    trace_pulses(drive, 1, 1, r.trace_samples);
    programme_train(&drive->programme, hal_now_ticks() + CORE_START_TICKS, r.channel, 1, r.on_time_us, r.on_time_us);
    drive_begin();
    return refusal;
}

struct refusal drive_requests_watch(const struct receive_frame *frame)
{
    struct wire_watch r;
    uint8_t field = wire_decode_watch(frame->body, frame->size, &r);
    struct wanted wanted = one(&r.channel, SWITCHED_KINDS);
    wanted.needs_arming = r.held != 0;
    struct refusal refusal = ready(field, 0, 0, &wanted);
    if (refusal.reason == REFUSAL_NONE && r.held) {
        refusal = limits_check_hold(r.channel, r.duration_ms);
    }
    if (refusal.reason != REFUSAL_NONE) {
        return refusal;
    }
    uint8_t hazards = hazards_of(&wanted);
    bool pump = pump_starts(&wanted);
    watch_begin(&r, hazards, pump);
    return refusal;
}

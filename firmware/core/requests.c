/* SPDX-License-Identifier: MIT */
#include "requests.h"

#include "activity.h"
#include "arming.h"
#include "core_config.h"
#include "drive_requests.h"
#include "guard.h"
#include "limits.h"
#include "report.h"
#include "scan.h"
#include "trace.h"
#include "trip.h"
#include "wire_messages_gen.h"

static struct refusal get_channel(const struct receive_frame *frame, struct reply *reply)
{
    struct wire_get_channel request;
    struct refusal refusal = refusal_of_field(wire_decode_get_channel(frame->body, frame->size, &request));
    if (refusal.reason == REFUSAL_NONE) {
        refusal = limits_check_channel(request.channel);
    }
    if (refusal.reason == REFUSAL_NONE) {
        reply->kind = WIRE_KIND_CHANNEL_INFO;
        reply->size = report_channel_info(request.channel, reply->body);
    }
    return refusal;
}

/* Not inlined, nor is the scan: their frames would add to that of every request. */
static __attribute__((noinline)) struct refusal configure(const struct receive_frame *frame)
{
    struct wire_configure request;
    struct refusal refusal = refusal_of_field(wire_decode_configure(frame->body, frame->size, &request));
    if (refusal.reason == REFUSAL_NONE) {
        refusal = limits_check_channel(request.channel);
    }
    if (refusal.reason == REFUSAL_NONE) {
        refusal = activity_check_busy();
    }
    if (refusal.reason == REFUSAL_NONE) {
        refusal = limits_configure(&request);
    }
    if (refusal.reason == REFUSAL_NONE) {
        if (!guard_faulty()) { /* no configuration mends the board */
            trip_clear(request.channel);
        }
        arming_drop_all(WIRE_DISARM_REASON_RECONFIGURED);
    }
    return refusal;
}

static struct refusal get_config(const struct receive_frame *frame, struct reply *reply)
{
    struct wire_get_config request;
    struct refusal refusal = refusal_of_field(wire_decode_get_config(frame->body, frame->size, &request));
    if (refusal.reason == REFUSAL_NONE) {
        refusal = limits_check_channel(request.channel);
    }
    if (refusal.reason == REFUSAL_NONE) {
        reply->kind = WIRE_KIND_CHANNEL_CONFIG;
        reply->size = wire_encode_channel_config(limits_config(request.channel), reply->body);
    }
    return refusal;
}

static struct refusal get_digest(struct reply *reply)
{
    struct wire_digest digest = {.digest = limits_digest()};
    reply->kind = WIRE_KIND_DIGEST;
    reply->size = wire_encode_digest(&digest, reply->body);
    return refusal_none();
}

static struct refusal arm(const struct receive_frame *frame)
{
    struct wire_arm request;
    struct refusal refusal = refusal_of_field(wire_decode_arm(frame->body, frame->size, &request));
    if (refusal.reason == REFUSAL_NONE) {
        refusal = guard_check_ready();
    }
    if (refusal.reason == REFUSAL_NONE && request.hazard == WIRE_HAZARD_FUEL && activity_pump()) {
        refusal = refusal_of(WIRE_REFUSAL_PUMP_CHANNEL, 0);
    }
    if (refusal.reason == REFUSAL_NONE) {
        arming_arm(request.hazard, request.duration_ms);
    }
    return refusal;
}

static struct refusal disarm(const struct receive_frame *frame)
{
    struct wire_disarm request;
    struct refusal refusal = refusal_of_field(wire_decode_disarm(frame->body, frame->size, &request));
    if (refusal.reason == REFUSAL_NONE && request.hazard == WIRE_HAZARD_NONE) {
        arming_drop_all(WIRE_DISARM_REASON_ASKED);
    } else if (refusal.reason == REFUSAL_NONE) {
        arming_drop(request.hazard, WIRE_DISARM_REASON_ASKED);
    }
    return refusal;
}

/* One that came before the newest stop is refused: it was sent before anybody could know of that. */
static struct refusal clear_stop(const struct receive_frame *frame)
{
    if (guard_faulty()) {
        return refusal_of(WIRE_REFUSAL_STOPPED, guard_reason());
    }
    if (hal_stop_input_open()) {
        return refusal_of(WIRE_REFUSAL_STOP_INPUT_OPEN, 0);
    }
    if (!guard_supply_good()) {
        return refusal_of(WIRE_REFUSAL_SUPPLY_OUT_OF_RANGE, guard_supply_mv());
    }
    return guard_clear(frame->stops) ? refusal_none() : refusal_of(WIRE_REFUSAL_STOPPED, guard_reason());
}

static struct refusal get_status(struct reply *reply)
{
    reply->kind = WIRE_KIND_STATUS;
    reply->size = report_status(reply->body);
    return refusal_none();
}

static void find_widths(const struct wire_scan *request, uint8_t *widths_us)
{
    for (uint8_t channel = 1; channel <= limits_channel_count(); channel++) {
        uint16_t cap_us = limits_sense_cap_us(channel, guard_supply_mv());
        uint16_t width_us = request->on_time_us < cap_us ? request->on_time_us : cap_us;
        widths_us[channel - 1U] = width_us < WIRE_MIN_SENSE_US ? 0 : (uint8_t)width_us; /* at most WIRE_MAX_SENSE_US */
    }
}

static __attribute__((noinline)) struct refusal scan(const struct receive_frame *frame, struct reply *reply)
{
    struct wire_scan request;
    uint8_t widths_us[CORE_CHANNELS] = {0};
    struct refusal refusal = refusal_of_field(wire_decode_scan(frame->body, frame->size, &request));
    if (refusal.reason == REFUSAL_NONE && request.on_time_us > 0) {
        refusal = guard_check_ready();
        find_widths(&request, widths_us);
    }
    if (refusal.reason == REFUSAL_NONE) {
        refusal = activity_check_busy();
    }
    if (refusal.reason == REFUSAL_NONE) {
        reply->kind = REPLY_LATER;
        scan_begin(frame->sequence, &request, widths_us);
    }
    return refusal;
}

static struct refusal read_trace(const struct receive_frame *frame, struct reply *reply)
{
    struct wire_read_trace request;
    struct refusal refusal = refusal_of_field(wire_decode_read_trace(frame->body, frame->size, &request));
    if (refusal.reason == REFUSAL_NONE) {
        reply->kind = WIRE_KIND_TRACE_CHUNK;
        refusal = trace_chunk(request.trace_id, request.first_sample, reply->body, &reply->size);
    }
    return refusal;
}

static struct refusal unknown(void)
{
    return refusal_of(WIRE_REFUSAL_UNKNOWN_MESSAGE, 0);
}

static struct refusal drives(const struct receive_frame *frame)
{
    switch (frame->kind) {
    case WIRE_KIND_DRIVE_TRAIN:
        return drive_requests_train(frame);
    case WIRE_KIND_DRIVE_HOLD:
        return drive_requests_hold(frame);
    case WIRE_KIND_DRIVE_PEAK_HOLD:
        return drive_requests_peak_hold(frame);
    case WIRE_KIND_DRIVE_STEPPER:
        return drive_requests_stepper(frame);
    case WIRE_KIND_DRIVE_BRIDGE:
        return drive_requests_bridge(frame);
    case WIRE_KIND_SENSE:
        return drive_requests_sense(frame);
    case WIRE_KIND_WATCH:
        return drive_requests_watch(frame);
    default:
        return unknown(); /* no such message, or not for a box */
    }
}

/* Requests without a body. */
static struct refusal bare(const struct receive_frame *frame, struct reply *reply)
{
    if (frame->size != 0) {
        return unknown();
    }
    switch (frame->kind) {
    case WIRE_KIND_GET_DIGEST:
        return get_digest(reply);
    case WIRE_KIND_CLEAR_STOP:
        return clear_stop(frame);
    case WIRE_KIND_GET_STATUS:
        return get_status(reply);
    default: /* cancel */
        activity_end(WIRE_END_REASON_CANCELLED);
        return refusal_none();
    }
}

static struct refusal bare_or_drive(const struct receive_frame *frame, struct reply *reply)
{
    switch (frame->kind) {
    case WIRE_KIND_GET_DIGEST:
    case WIRE_KIND_CLEAR_STOP:
    case WIRE_KIND_GET_STATUS:
    case WIRE_KIND_CANCEL:
        return bare(frame, reply);
    default:
        return drives(frame);
    }
}

struct refusal requests_carry_out(const struct receive_frame *frame, struct reply *reply)
{
    switch (frame->kind) {
    case WIRE_KIND_GET_CHANNEL:
        return get_channel(frame, reply);
    case WIRE_KIND_CONFIGURE:
        return configure(frame);
    case WIRE_KIND_GET_CONFIG:
        return get_config(frame, reply);
    case WIRE_KIND_ARM:
        return arm(frame);
    case WIRE_KIND_DISARM:
        return disarm(frame);
    case WIRE_KIND_SCAN:
        return scan(frame, reply);
    case WIRE_KIND_READ_TRACE:
        return read_trace(frame, reply);
    default:
        return bare_or_drive(frame, reply);
    }
}

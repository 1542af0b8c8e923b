/* SPDX-License-Identifier: MIT */
/* Decoding and encoding of each message, from wire.toml by `python -m loomproof_wire.generate`: do not edit */
#ifndef LOOMPROOF_WIRE_MESSAGES_GEN_H
#define LOOMPROOF_WIRE_MESSAGES_GEN_H

#include <stdint.h>

#include "wire_codec.h"
#include "wire_gen.h"

static inline uint8_t wire_decode_hello(const uint8_t *body, uint16_t size, struct wire_hello *out)
{
    return wire_codec_decode(WIRE_LAYOUT_HELLO, body, size, out);
}

static inline uint16_t wire_encode_hello(const struct wire_hello *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_HELLO, in, body);
}

static inline uint8_t wire_decode_get_channel(const uint8_t *body, uint16_t size, struct wire_get_channel *out)
{
    return wire_codec_decode(WIRE_LAYOUT_GET_CHANNEL, body, size, out);
}

static inline uint16_t wire_encode_get_channel(const struct wire_get_channel *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_GET_CHANNEL, in, body);
}

static inline uint8_t wire_decode_configure(const uint8_t *body, uint16_t size, struct wire_configure *out)
{
    return wire_codec_decode(WIRE_LAYOUT_CONFIGURE, body, size, out);
}

static inline uint16_t wire_encode_configure(const struct wire_configure *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_CONFIGURE, in, body);
}

static inline uint8_t wire_decode_get_config(const uint8_t *body, uint16_t size, struct wire_get_config *out)
{
    return wire_codec_decode(WIRE_LAYOUT_GET_CONFIG, body, size, out);
}

static inline uint16_t wire_encode_get_config(const struct wire_get_config *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_GET_CONFIG, in, body);
}

static inline uint8_t wire_decode_arm(const uint8_t *body, uint16_t size, struct wire_arm *out)
{
    return wire_codec_decode(WIRE_LAYOUT_ARM, body, size, out);
}

static inline uint16_t wire_encode_arm(const struct wire_arm *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_ARM, in, body);
}

static inline uint8_t wire_decode_disarm(const uint8_t *body, uint16_t size, struct wire_disarm *out)
{
    return wire_codec_decode(WIRE_LAYOUT_DISARM, body, size, out);
}

static inline uint16_t wire_encode_disarm(const struct wire_disarm *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_DISARM, in, body);
}

static inline uint8_t wire_decode_heartbeat(const uint8_t *body, uint16_t size, struct wire_heartbeat *out)
{
    return wire_codec_decode(WIRE_LAYOUT_HEARTBEAT, body, size, out);
}

static inline uint16_t wire_encode_heartbeat(const struct wire_heartbeat *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_HEARTBEAT, in, body);
}

static inline uint8_t wire_decode_drive_train(const uint8_t *body, uint16_t size, struct wire_drive_train *out)
{
    return wire_codec_decode(WIRE_LAYOUT_DRIVE_TRAIN, body, size, out);
}

static inline uint16_t wire_encode_drive_train(const struct wire_drive_train *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_DRIVE_TRAIN, in, body);
}

static inline uint8_t wire_decode_drive_hold(const uint8_t *body, uint16_t size, struct wire_drive_hold *out)
{
    return wire_codec_decode(WIRE_LAYOUT_DRIVE_HOLD, body, size, out);
}

static inline uint16_t wire_encode_drive_hold(const struct wire_drive_hold *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_DRIVE_HOLD, in, body);
}

static inline uint8_t wire_decode_drive_peak_hold(const uint8_t *body, uint16_t size, struct wire_drive_peak_hold *out)
{
    return wire_codec_decode(WIRE_LAYOUT_DRIVE_PEAK_HOLD, body, size, out);
}

static inline uint16_t wire_encode_drive_peak_hold(const struct wire_drive_peak_hold *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_DRIVE_PEAK_HOLD, in, body);
}

static inline uint8_t wire_decode_drive_stepper(const uint8_t *body, uint16_t size, struct wire_drive_stepper *out)
{
    return wire_codec_decode(WIRE_LAYOUT_DRIVE_STEPPER, body, size, out);
}

static inline uint16_t wire_encode_drive_stepper(const struct wire_drive_stepper *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_DRIVE_STEPPER, in, body);
}

static inline uint8_t wire_decode_drive_bridge(const uint8_t *body, uint16_t size, struct wire_drive_bridge *out)
{
    return wire_codec_decode(WIRE_LAYOUT_DRIVE_BRIDGE, body, size, out);
}

static inline uint16_t wire_encode_drive_bridge(const struct wire_drive_bridge *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_DRIVE_BRIDGE, in, body);
}

static inline uint8_t wire_decode_sense(const uint8_t *body, uint16_t size, struct wire_sense *out)
{
    return wire_codec_decode(WIRE_LAYOUT_SENSE, body, size, out);
}

static inline uint16_t wire_encode_sense(const struct wire_sense *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_SENSE, in, body);
}

static inline uint8_t wire_decode_scan(const uint8_t *body, uint16_t size, struct wire_scan *out)
{
    return wire_codec_decode(WIRE_LAYOUT_SCAN, body, size, out);
}

static inline uint16_t wire_encode_scan(const struct wire_scan *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_SCAN, in, body);
}

static inline uint8_t wire_decode_watch(const uint8_t *body, uint16_t size, struct wire_watch *out)
{
    return wire_codec_decode(WIRE_LAYOUT_WATCH, body, size, out);
}

static inline uint16_t wire_encode_watch(const struct wire_watch *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_WATCH, in, body);
}

static inline uint8_t wire_decode_read_trace(const uint8_t *body, uint16_t size, struct wire_read_trace *out)
{
    return wire_codec_decode(WIRE_LAYOUT_READ_TRACE, body, size, out);
}

static inline uint16_t wire_encode_read_trace(const struct wire_read_trace *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_READ_TRACE, in, body);
}

static inline uint8_t wire_decode_ack(const uint8_t *body, uint16_t size, struct wire_ack *out)
{
    return wire_codec_decode(WIRE_LAYOUT_ACK, body, size, out);
}

static inline uint16_t wire_encode_ack(const struct wire_ack *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_ACK, in, body);
}

static inline uint8_t wire_decode_refused(const uint8_t *body, uint16_t size, struct wire_refused *out)
{
    return wire_codec_decode(WIRE_LAYOUT_REFUSED, body, size, out);
}

static inline uint16_t wire_encode_refused(const struct wire_refused *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_REFUSED, in, body);
}

static inline uint8_t wire_decode_identity(const uint8_t *body, uint16_t size, struct wire_identity *out)
{
    return wire_codec_decode(WIRE_LAYOUT_IDENTITY, body, size, out);
}

static inline uint16_t wire_encode_identity(const struct wire_identity *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_IDENTITY, in, body);
}

static inline uint8_t wire_decode_channel_info(const uint8_t *body, uint16_t size, struct wire_channel_info *out)
{
    return wire_codec_decode(WIRE_LAYOUT_CHANNEL_INFO, body, size, out);
}

static inline uint16_t wire_encode_channel_info(const struct wire_channel_info *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_CHANNEL_INFO, in, body);
}

static inline uint8_t wire_decode_channel_config(const uint8_t *body, uint16_t size, struct wire_channel_config *out)
{
    return wire_codec_decode(WIRE_LAYOUT_CHANNEL_CONFIG, body, size, out);
}

static inline uint16_t wire_encode_channel_config(const struct wire_channel_config *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_CHANNEL_CONFIG, in, body);
}

static inline uint8_t wire_decode_digest(const uint8_t *body, uint16_t size, struct wire_digest *out)
{
    return wire_codec_decode(WIRE_LAYOUT_DIGEST, body, size, out);
}

static inline uint16_t wire_encode_digest(const struct wire_digest *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_DIGEST, in, body);
}

static inline uint8_t wire_decode_status(const uint8_t *body, uint16_t size, struct wire_status *out)
{
    return wire_codec_decode(WIRE_LAYOUT_STATUS, body, size, out);
}

static inline uint16_t wire_encode_status(const struct wire_status *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_STATUS, in, body);
}

static inline uint8_t wire_decode_scan_result(const uint8_t *body, uint16_t size, struct wire_scan_result *out)
{
    return wire_codec_decode(WIRE_LAYOUT_SCAN_RESULT, body, size, out);
}

static inline uint16_t wire_encode_scan_result(const struct wire_scan_result *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_SCAN_RESULT, in, body);
}

static inline uint8_t wire_decode_trace_chunk(const uint8_t *body, uint16_t size, struct wire_trace_chunk *out)
{
    return wire_codec_decode(WIRE_LAYOUT_TRACE_CHUNK, body, size, out);
}

static inline uint16_t wire_encode_trace_chunk(const struct wire_trace_chunk *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_TRACE_CHUNK, in, body);
}

static inline uint8_t wire_decode_telemetry(const uint8_t *body, uint16_t size, struct wire_telemetry *out)
{
    return wire_codec_decode(WIRE_LAYOUT_TELEMETRY, body, size, out);
}

static inline uint16_t wire_encode_telemetry(const struct wire_telemetry *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_TELEMETRY, in, body);
}

static inline uint8_t wire_decode_trip(const uint8_t *body, uint16_t size, struct wire_trip *out)
{
    return wire_codec_decode(WIRE_LAYOUT_TRIP, body, size, out);
}

static inline uint16_t wire_encode_trip(const struct wire_trip *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_TRIP, in, body);
}

static inline uint8_t wire_decode_stopped(const uint8_t *body, uint16_t size, struct wire_stopped *out)
{
    return wire_codec_decode(WIRE_LAYOUT_STOPPED, body, size, out);
}

static inline uint16_t wire_encode_stopped(const struct wire_stopped *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_STOPPED, in, body);
}

static inline uint8_t wire_decode_drive_ended(const uint8_t *body, uint16_t size, struct wire_drive_ended *out)
{
    return wire_codec_decode(WIRE_LAYOUT_DRIVE_ENDED, body, size, out);
}

static inline uint16_t wire_encode_drive_ended(const struct wire_drive_ended *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_DRIVE_ENDED, in, body);
}

static inline uint8_t wire_decode_trace_ready(const uint8_t *body, uint16_t size, struct wire_trace_ready *out)
{
    return wire_codec_decode(WIRE_LAYOUT_TRACE_READY, body, size, out);
}

static inline uint16_t wire_encode_trace_ready(const struct wire_trace_ready *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_TRACE_READY, in, body);
}

static inline uint8_t wire_decode_dropout(const uint8_t *body, uint16_t size, struct wire_dropout *out)
{
    return wire_codec_decode(WIRE_LAYOUT_DROPOUT, body, size, out);
}

static inline uint16_t wire_encode_dropout(const struct wire_dropout *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_DROPOUT, in, body);
}

static inline uint8_t wire_decode_supply_event(const uint8_t *body, uint16_t size, struct wire_supply_event *out)
{
    return wire_codec_decode(WIRE_LAYOUT_SUPPLY_EVENT, body, size, out);
}

static inline uint16_t wire_encode_supply_event(const struct wire_supply_event *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_SUPPLY_EVENT, in, body);
}

static inline uint8_t wire_decode_disarmed(const uint8_t *body, uint16_t size, struct wire_disarmed *out)
{
    return wire_codec_decode(WIRE_LAYOUT_DISARMED, body, size, out);
}

static inline uint16_t wire_encode_disarmed(const struct wire_disarmed *in, uint8_t *body)
{
    return wire_codec_encode(WIRE_LAYOUT_DISARMED, in, body);
}

#endif

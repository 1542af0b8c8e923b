/* Codec of the Loomproof box protocol. Generated from wire.toml by `python -m loomproof_wire.generate`; do not edit.
 *
 * A decoder takes a body of any size and checks everything; an encoder writes a body and returns its size. */
#include "wire_gen.h"

#include <string.h>

uint8_t wire_decode_hello(const uint8_t *body, uint16_t size, struct wire_hello *out)
{
    if (size != 10u) {
        return WIRE_WRONG_SIZE;
    }
    out->protocol_major = *(body + 0u);
    out->protocol_minor = *(body + 1u);
    out->session = wire_get_u32(body + 2u);
    if (out->session < 1u) {
        return 2u;
    }
    out->spec_hash = wire_get_u32(body + 6u);
    return WIRE_OK;
}

uint16_t wire_encode_hello(const struct wire_hello *in, uint8_t *body)
{
    *(body + 0u) = in->protocol_major;
    *(body + 1u) = in->protocol_minor;
    wire_put_u32(body + 2u, in->session);
    wire_put_u32(body + 6u, in->spec_hash);
    return 10u;
}

uint8_t wire_decode_get_channel(const uint8_t *body, uint16_t size, struct wire_get_channel *out)
{
    if (size != 1u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    if (out->channel < 1u || out->channel > 16u) {
        return 0u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_get_channel(const struct wire_get_channel *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    return 1u;
}

uint8_t wire_decode_configure(const uint8_t *body, uint16_t size, struct wire_configure *out)
{
    if (size != 18u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    if (out->channel < 1u || out->channel > 16u) {
        return 0u;
    }
    out->load_class = *(body + 1u);
    if (out->load_class > 9u) {
        return 1u;
    }
    out->hazard = *(body + 2u);
    if (out->hazard > 5u) {
        return 2u;
    }
    out->fuel_pump = *(body + 3u);
    if (out->fuel_pump > 1u) {
        return 3u;
    }
    out->max_on_time_us = wire_get_u32(body + 4u);
    if (out->max_on_time_us < 50u || out->max_on_time_us > 100000ul) {
        return 4u;
    }
    out->max_hold_ms = wire_get_u16(body + 8u);
    if (out->max_hold_ms > 10000u) {
        return 5u;
    }
    out->max_duty_permille = wire_get_u16(body + 10u);
    if (out->max_duty_permille < 1u || out->max_duty_permille > 900u) {
        return 6u;
    }
    out->max_count = wire_get_u16(body + 12u);
    if (out->max_count < 1u || out->max_count > 2000u) {
        return 7u;
    }
    out->max_current_ma = wire_get_u16(body + 14u);
    if (out->max_current_ma < 10u || out->max_current_ma > 20000u) {
        return 8u;
    }
    out->max_sense_us = wire_get_u16(body + 16u);
    if (out->max_sense_us > 200u) {
        return 9u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_configure(const struct wire_configure *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    *(body + 1u) = in->load_class;
    *(body + 2u) = in->hazard;
    *(body + 3u) = in->fuel_pump;
    wire_put_u32(body + 4u, in->max_on_time_us);
    wire_put_u16(body + 8u, in->max_hold_ms);
    wire_put_u16(body + 10u, in->max_duty_permille);
    wire_put_u16(body + 12u, in->max_count);
    wire_put_u16(body + 14u, in->max_current_ma);
    wire_put_u16(body + 16u, in->max_sense_us);
    return 18u;
}

uint8_t wire_decode_get_config(const uint8_t *body, uint16_t size, struct wire_get_config *out)
{
    if (size != 1u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    if (out->channel < 1u || out->channel > 16u) {
        return 0u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_get_config(const struct wire_get_config *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    return 1u;
}

uint8_t wire_decode_arm(const uint8_t *body, uint16_t size, struct wire_arm *out)
{
    if (size != 3u) {
        return WIRE_WRONG_SIZE;
    }
    out->hazard = *(body + 0u);
    if (out->hazard < 1u || out->hazard > 5u) {
        return 0u;
    }
    out->duration_ms = wire_get_u16(body + 1u);
    if (out->duration_ms < 100u || out->duration_ms > 60000u) {
        return 1u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_arm(const struct wire_arm *in, uint8_t *body)
{
    *(body + 0u) = in->hazard;
    wire_put_u16(body + 1u, in->duration_ms);
    return 3u;
}

uint8_t wire_decode_disarm(const uint8_t *body, uint16_t size, struct wire_disarm *out)
{
    if (size != 1u) {
        return WIRE_WRONG_SIZE;
    }
    out->hazard = *(body + 0u);
    if (out->hazard > 5u) {
        return 0u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_disarm(const struct wire_disarm *in, uint8_t *body)
{
    *(body + 0u) = in->hazard;
    return 1u;
}

uint8_t wire_decode_heartbeat(const uint8_t *body, uint16_t size, struct wire_heartbeat *out)
{
    if (size != 4u) {
        return WIRE_WRONG_SIZE;
    }
    out->session = wire_get_u32(body + 0u);
    return WIRE_OK;
}

uint16_t wire_encode_heartbeat(const struct wire_heartbeat *in, uint8_t *body)
{
    wire_put_u32(body + 0u, in->session);
    return 4u;
}

uint8_t wire_decode_drive_train(const uint8_t *body, uint16_t size, struct wire_drive_train *out)
{
    if (size != 16u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    if (out->channel < 1u || out->channel > 16u) {
        return 0u;
    }
    out->count = wire_get_u16(body + 1u);
    if (out->count < 1u || out->count > 2000u) {
        return 1u;
    }
    out->period_us = wire_get_u32(body + 3u);
    if (out->period_us < 200u || out->period_us > 10000000ul) {
        return 2u;
    }
    out->on_time_us = wire_get_u32(body + 7u);
    if (out->on_time_us < 50u || out->on_time_us > 100000ul) {
        return 3u;
    }
    out->trace_every = wire_get_u16(body + 11u);
    out->trace_decimation = *(body + 13u);
    if (out->trace_decimation < 1u) {
        return 5u;
    }
    out->trace_samples = wire_get_u16(body + 14u);
    if (out->trace_samples > 600u) {
        return 6u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_drive_train(const struct wire_drive_train *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    wire_put_u16(body + 1u, in->count);
    wire_put_u32(body + 3u, in->period_us);
    wire_put_u32(body + 7u, in->on_time_us);
    wire_put_u16(body + 11u, in->trace_every);
    *(body + 13u) = in->trace_decimation;
    wire_put_u16(body + 14u, in->trace_samples);
    return 16u;
}

uint8_t wire_decode_drive_hold(const uint8_t *body, uint16_t size, struct wire_drive_hold *out)
{
    if (size != 6u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    if (out->channel < 1u || out->channel > 16u) {
        return 0u;
    }
    out->duration_ms = wire_get_u16(body + 1u);
    if (out->duration_ms < 1u || out->duration_ms > 10000u) {
        return 1u;
    }
    out->trace_decimation = *(body + 3u);
    if (out->trace_decimation < 1u) {
        return 2u;
    }
    out->trace_samples = wire_get_u16(body + 4u);
    if (out->trace_samples > 600u) {
        return 3u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_drive_hold(const struct wire_drive_hold *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    wire_put_u16(body + 1u, in->duration_ms);
    *(body + 3u) = in->trace_decimation;
    wire_put_u16(body + 4u, in->trace_samples);
    return 6u;
}

uint8_t wire_decode_drive_peak_hold(const uint8_t *body, uint16_t size, struct wire_drive_peak_hold *out)
{
    if (size != 24u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    if (out->channel < 1u || out->channel > 16u) {
        return 0u;
    }
    out->count = wire_get_u16(body + 1u);
    if (out->count < 1u || out->count > 2000u) {
        return 1u;
    }
    out->period_us = wire_get_u32(body + 3u);
    if (out->period_us < 200u || out->period_us > 10000000ul) {
        return 2u;
    }
    out->on_time_us = wire_get_u32(body + 7u);
    if (out->on_time_us < 50u || out->on_time_us > 100000ul) {
        return 3u;
    }
    out->peak_us = wire_get_u32(body + 11u);
    if (out->peak_us < 50u || out->peak_us > 100000ul) {
        return 4u;
    }
    out->chop_period_us = wire_get_u16(body + 15u);
    if (out->chop_period_us < 40u || out->chop_period_us > 1000u) {
        return 5u;
    }
    out->chop_duty_permille = wire_get_u16(body + 17u);
    if (out->chop_duty_permille < 50u || out->chop_duty_permille > 950u) {
        return 6u;
    }
    out->trace_every = wire_get_u16(body + 19u);
    out->trace_decimation = *(body + 21u);
    if (out->trace_decimation < 1u) {
        return 8u;
    }
    out->trace_samples = wire_get_u16(body + 22u);
    if (out->trace_samples > 600u) {
        return 9u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_drive_peak_hold(const struct wire_drive_peak_hold *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    wire_put_u16(body + 1u, in->count);
    wire_put_u32(body + 3u, in->period_us);
    wire_put_u32(body + 7u, in->on_time_us);
    wire_put_u32(body + 11u, in->peak_us);
    wire_put_u16(body + 15u, in->chop_period_us);
    wire_put_u16(body + 17u, in->chop_duty_permille);
    wire_put_u16(body + 19u, in->trace_every);
    *(body + 21u) = in->trace_decimation;
    wire_put_u16(body + 22u, in->trace_samples);
    return 24u;
}

uint8_t wire_decode_drive_stepper(const uint8_t *body, uint16_t size, struct wire_drive_stepper *out)
{
    if (size != 10u) {
        return WIRE_WRONG_SIZE;
    }
    for (uint8_t i = 0; i < 4u; i++) {
        out->channels[i] = *(body + 0u + i);
        if (out->channels[i] < 1u || out->channels[i] > 16u) {
            return 0u;
        }
    }
    out->steps = (int16_t)wire_get_u16(body + 4u);
    if (out->steps < -2000 || out->steps > 2000) {
        return 1u;
    }
    out->step_us = wire_get_u32(body + 6u);
    if (out->step_us < 1000u || out->step_us > 1000000ul) {
        return 2u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_drive_stepper(const struct wire_drive_stepper *in, uint8_t *body)
{
    for (uint8_t i = 0; i < 4u; i++) {
        *(body + 0u + i) = in->channels[i];
    }
    wire_put_u16(body + 4u, (uint16_t)in->steps);
    wire_put_u32(body + 6u, in->step_us);
    return 10u;
}

uint8_t wire_decode_drive_bridge(const uint8_t *body, uint16_t size, struct wire_drive_bridge *out)
{
    if (size != 11u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel_supply = *(body + 0u);
    if (out->channel_supply < 1u || out->channel_supply > 16u) {
        return 0u;
    }
    out->channel_ground = *(body + 1u);
    if (out->channel_ground < 1u || out->channel_ground > 16u) {
        return 1u;
    }
    out->duration_ms = wire_get_u16(body + 2u);
    if (out->duration_ms < 1u || out->duration_ms > 10000u) {
        return 2u;
    }
    out->chop_period_us = wire_get_u16(body + 4u);
    if (out->chop_period_us < 40u || out->chop_period_us > 1000u) {
        return 3u;
    }
    out->duty_permille = wire_get_u16(body + 6u);
    if (out->duty_permille < 1u || out->duty_permille > 900u) {
        return 4u;
    }
    out->trace_decimation = *(body + 8u);
    if (out->trace_decimation < 1u) {
        return 5u;
    }
    out->trace_samples = wire_get_u16(body + 9u);
    if (out->trace_samples > 600u) {
        return 6u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_drive_bridge(const struct wire_drive_bridge *in, uint8_t *body)
{
    *(body + 0u) = in->channel_supply;
    *(body + 1u) = in->channel_ground;
    wire_put_u16(body + 2u, in->duration_ms);
    wire_put_u16(body + 4u, in->chop_period_us);
    wire_put_u16(body + 6u, in->duty_permille);
    *(body + 8u) = in->trace_decimation;
    wire_put_u16(body + 9u, in->trace_samples);
    return 11u;
}

uint8_t wire_decode_sense(const uint8_t *body, uint16_t size, struct wire_sense *out)
{
    if (size != 5u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    if (out->channel < 1u || out->channel > 16u) {
        return 0u;
    }
    out->on_time_us = wire_get_u16(body + 1u);
    if (out->on_time_us < 10u || out->on_time_us > 200u) {
        return 1u;
    }
    out->trace_samples = wire_get_u16(body + 3u);
    if (out->trace_samples < 1u || out->trace_samples > 600u) {
        return 2u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_sense(const struct wire_sense *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    wire_put_u16(body + 1u, in->on_time_us);
    wire_put_u16(body + 3u, in->trace_samples);
    return 5u;
}

uint8_t wire_decode_scan(const uint8_t *body, uint16_t size, struct wire_scan *out)
{
    if (size != 4u) {
        return WIRE_WRONG_SIZE;
    }
    out->mask = wire_get_u16(body + 0u);
    out->on_time_us = wire_get_u16(body + 2u);
    if (out->on_time_us > 200u) {
        return 1u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_scan(const struct wire_scan *in, uint8_t *body)
{
    wire_put_u16(body + 0u, in->mask);
    wire_put_u16(body + 2u, in->on_time_us);
    return 4u;
}

uint8_t wire_decode_watch(const uint8_t *body, uint16_t size, struct wire_watch *out)
{
    if (size != 10u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    if (out->channel < 1u || out->channel > 16u) {
        return 0u;
    }
    out->held = *(body + 1u);
    if (out->held > 1u) {
        return 1u;
    }
    out->duration_ms = wire_get_u32(body + 2u);
    if (out->duration_ms < 1u || out->duration_ms > 600000ul) {
        return 2u;
    }
    out->sample_hz = wire_get_u16(body + 6u);
    if (out->sample_hz < 1000u || out->sample_hz > 10000u) {
        return 3u;
    }
    out->depth_permille = wire_get_u16(body + 8u);
    if (out->depth_permille < 20u || out->depth_permille > 1000u) {
        return 4u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_watch(const struct wire_watch *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    *(body + 1u) = in->held;
    wire_put_u32(body + 2u, in->duration_ms);
    wire_put_u16(body + 6u, in->sample_hz);
    wire_put_u16(body + 8u, in->depth_permille);
    return 10u;
}

uint8_t wire_decode_read_trace(const uint8_t *body, uint16_t size, struct wire_read_trace *out)
{
    if (size != 4u) {
        return WIRE_WRONG_SIZE;
    }
    out->trace_id = wire_get_u16(body + 0u);
    out->first_sample = wire_get_u16(body + 2u);
    return WIRE_OK;
}

uint16_t wire_encode_read_trace(const struct wire_read_trace *in, uint8_t *body)
{
    wire_put_u16(body + 0u, in->trace_id);
    wire_put_u16(body + 2u, in->first_sample);
    return 4u;
}

uint8_t wire_decode_ack(const uint8_t *body, uint16_t size, struct wire_ack *out)
{
    if (size != 1u) {
        return WIRE_WRONG_SIZE;
    }
    out->request_kind = *(body + 0u);
    return WIRE_OK;
}

uint16_t wire_encode_ack(const struct wire_ack *in, uint8_t *body)
{
    *(body + 0u) = in->request_kind;
    return 1u;
}

uint8_t wire_decode_refused(const uint8_t *body, uint16_t size, struct wire_refused *out)
{
    if (size != 6u) {
        return WIRE_WRONG_SIZE;
    }
    out->request_kind = *(body + 0u);
    out->reason = *(body + 1u);
    if (out->reason < 1u || out->reason > 20u) {
        return 1u;
    }
    out->detail = wire_get_u32(body + 2u);
    return WIRE_OK;
}

uint16_t wire_encode_refused(const struct wire_refused *in, uint8_t *body)
{
    *(body + 0u) = in->request_kind;
    *(body + 1u) = in->reason;
    wire_put_u32(body + 2u, in->detail);
    return 6u;
}

uint8_t wire_decode_identity(const uint8_t *body, uint16_t size, struct wire_identity *out)
{
    if (size != 85u) {
        return WIRE_WRONG_SIZE;
    }
    out->protocol_major = *(body + 0u);
    out->protocol_minor = *(body + 1u);
    out->spec_hash = wire_get_u32(body + 2u);
    memcpy(out->firmware_version, body + 6u, 16u);
    out->build_hash = wire_get_u32(body + 22u);
    memcpy(out->board, body + 26u, 24u);
    memcpy(out->serial_number, body + 50u, 16u);
    out->simulated = *(body + 66u);
    if (out->simulated > 1u) {
        return 7u;
    }
    out->channel_count = *(body + 67u);
    if (out->channel_count < 1u || out->channel_count > 16u) {
        return 8u;
    }
    out->adc_bits = *(body + 68u);
    if (out->adc_bits < 8u || out->adc_bits > 16u) {
        return 9u;
    }
    out->sample_period_ns = wire_get_u32(body + 69u);
    out->max_trace_samples = wire_get_u16(body + 73u);
    memcpy(out->calibrated_on, body + 75u, 10u);
    return WIRE_OK;
}

uint16_t wire_encode_identity(const struct wire_identity *in, uint8_t *body)
{
    *(body + 0u) = in->protocol_major;
    *(body + 1u) = in->protocol_minor;
    wire_put_u32(body + 2u, in->spec_hash);
    memcpy(body + 6u, in->firmware_version, 16u);
    wire_put_u32(body + 22u, in->build_hash);
    memcpy(body + 26u, in->board, 24u);
    memcpy(body + 50u, in->serial_number, 16u);
    *(body + 66u) = in->simulated;
    *(body + 67u) = in->channel_count;
    *(body + 68u) = in->adc_bits;
    wire_put_u32(body + 69u, in->sample_period_ns);
    wire_put_u16(body + 73u, in->max_trace_samples);
    memcpy(body + 75u, in->calibrated_on, 10u);
    return 85u;
}

uint8_t wire_decode_channel_info(const uint8_t *body, uint16_t size, struct wire_channel_info *out)
{
    if (size != 50u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    out->channel_kind = *(body + 1u);
    if (out->channel_kind > 3u) {
        return 1u;
    }
    out->max_on_time_us = wire_get_u32(body + 2u);
    out->max_hold_ms = wire_get_u16(body + 6u);
    out->max_duty_permille = wire_get_u16(body + 8u);
    out->max_count = wire_get_u16(body + 10u);
    out->max_current_ma = wire_get_u16(body + 12u);
    out->max_sense_us = wire_get_u16(body + 14u);
    out->wide_na_per_count = wire_get_u32(body + 16u);
    out->wide_offset_counts_x100 = (int16_t)wire_get_u16(body + 20u);
    out->fine_na_per_count = wire_get_u32(body + 22u);
    out->fine_offset_counts_x100 = (int16_t)wire_get_u16(body + 26u);
    out->supply_uv_per_count = wire_get_u32(body + 28u);
    out->drain_uv_per_count = wire_get_u32(body + 32u);
    out->gain_uncertainty_ppm = wire_get_u16(body + 36u);
    out->noise_counts_x100 = wire_get_u16(body + 38u);
    out->bias_mv = wire_get_u16(body + 40u);
    out->bias_ohm = wire_get_u32(body + 42u);
    out->clamp_mv = wire_get_u32(body + 46u);
    return WIRE_OK;
}

uint16_t wire_encode_channel_info(const struct wire_channel_info *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    *(body + 1u) = in->channel_kind;
    wire_put_u32(body + 2u, in->max_on_time_us);
    wire_put_u16(body + 6u, in->max_hold_ms);
    wire_put_u16(body + 8u, in->max_duty_permille);
    wire_put_u16(body + 10u, in->max_count);
    wire_put_u16(body + 12u, in->max_current_ma);
    wire_put_u16(body + 14u, in->max_sense_us);
    wire_put_u32(body + 16u, in->wide_na_per_count);
    wire_put_u16(body + 20u, (uint16_t)in->wide_offset_counts_x100);
    wire_put_u32(body + 22u, in->fine_na_per_count);
    wire_put_u16(body + 26u, (uint16_t)in->fine_offset_counts_x100);
    wire_put_u32(body + 28u, in->supply_uv_per_count);
    wire_put_u32(body + 32u, in->drain_uv_per_count);
    wire_put_u16(body + 36u, in->gain_uncertainty_ppm);
    wire_put_u16(body + 38u, in->noise_counts_x100);
    wire_put_u16(body + 40u, in->bias_mv);
    wire_put_u32(body + 42u, in->bias_ohm);
    wire_put_u32(body + 46u, in->clamp_mv);
    return 50u;
}

uint8_t wire_decode_channel_config(const uint8_t *body, uint16_t size, struct wire_channel_config *out)
{
    if (size != 18u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    out->load_class = *(body + 1u);
    if (out->load_class > 9u) {
        return 1u;
    }
    out->hazard = *(body + 2u);
    if (out->hazard > 5u) {
        return 2u;
    }
    out->fuel_pump = *(body + 3u);
    out->max_on_time_us = wire_get_u32(body + 4u);
    out->max_hold_ms = wire_get_u16(body + 8u);
    out->max_duty_permille = wire_get_u16(body + 10u);
    out->max_count = wire_get_u16(body + 12u);
    out->max_current_ma = wire_get_u16(body + 14u);
    out->max_sense_us = wire_get_u16(body + 16u);
    return WIRE_OK;
}

uint16_t wire_encode_channel_config(const struct wire_channel_config *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    *(body + 1u) = in->load_class;
    *(body + 2u) = in->hazard;
    *(body + 3u) = in->fuel_pump;
    wire_put_u32(body + 4u, in->max_on_time_us);
    wire_put_u16(body + 8u, in->max_hold_ms);
    wire_put_u16(body + 10u, in->max_duty_permille);
    wire_put_u16(body + 12u, in->max_count);
    wire_put_u16(body + 14u, in->max_current_ma);
    wire_put_u16(body + 16u, in->max_sense_us);
    return 18u;
}

uint8_t wire_decode_digest(const uint8_t *body, uint16_t size, struct wire_digest *out)
{
    if (size != 4u) {
        return WIRE_WRONG_SIZE;
    }
    out->digest = wire_get_u32(body + 0u);
    return WIRE_OK;
}

uint16_t wire_encode_digest(const struct wire_digest *in, uint8_t *body)
{
    wire_put_u32(body + 0u, in->digest);
    return 4u;
}

uint8_t wire_decode_status(const uint8_t *body, uint16_t size, struct wire_status *out)
{
    if (size != 32u) {
        return WIRE_WRONG_SIZE;
    }
    out->uptime_ms = wire_get_u32(body + 0u);
    out->state = *(body + 4u);
    if (out->state > 3u) {
        return 1u;
    }
    out->stop_reason = *(body + 5u);
    if (out->stop_reason > 6u) {
        return 2u;
    }
    out->stop_input_open = *(body + 6u);
    if (out->stop_input_open > 1u) {
        return 3u;
    }
    out->supply_mv = wire_get_u16(body + 7u);
    out->board_temperature_dc = (int16_t)wire_get_u16(body + 9u);
    out->driving_channel = *(body + 11u);
    out->tripped_mask = wire_get_u16(body + 12u);
    out->armed_mask = *(body + 14u);
    for (uint8_t i = 0; i < 5u; i++) {
        out->armed_left_ms[i] = wire_get_u16(body + 15u + i * 2u);
    }
    out->free_traces = *(body + 25u);
    out->bad_frames = wire_get_u16(body + 26u);
    out->stale_frames = wire_get_u16(body + 28u);
    out->overruns = wire_get_u16(body + 30u);
    return WIRE_OK;
}

uint16_t wire_encode_status(const struct wire_status *in, uint8_t *body)
{
    wire_put_u32(body + 0u, in->uptime_ms);
    *(body + 4u) = in->state;
    *(body + 5u) = in->stop_reason;
    *(body + 6u) = in->stop_input_open;
    wire_put_u16(body + 7u, in->supply_mv);
    wire_put_u16(body + 9u, (uint16_t)in->board_temperature_dc);
    *(body + 11u) = in->driving_channel;
    wire_put_u16(body + 12u, in->tripped_mask);
    *(body + 14u) = in->armed_mask;
    for (uint8_t i = 0; i < 5u; i++) {
        wire_put_u16(body + 15u + i * 2u, in->armed_left_ms[i]);
    }
    *(body + 25u) = in->free_traces;
    wire_put_u16(body + 26u, in->bad_frames);
    wire_put_u16(body + 28u, in->stale_frames);
    wire_put_u16(body + 30u, in->overruns);
    return 32u;
}

uint8_t wire_decode_scan_result(const uint8_t *body, uint16_t size, struct wire_scan_result *out)
{
    if (size != 104u) {
        return WIRE_WRONG_SIZE;
    }
    out->mask = wire_get_u16(body + 0u);
    out->sensed_mask = wire_get_u16(body + 2u);
    out->on_time_us = wire_get_u16(body + 4u);
    out->supply_counts = wire_get_u16(body + 6u);
    for (uint8_t i = 0; i < 16u; i++) {
        out->drain_counts[i] = wire_get_u16(body + 8u + i * 2u);
    }
    for (uint8_t i = 0; i < 16u; i++) {
        out->fine_counts[i] = wire_get_u16(body + 40u + i * 2u);
    }
    for (uint8_t i = 0; i < 16u; i++) {
        out->wide_counts[i] = wire_get_u16(body + 72u + i * 2u);
    }
    return WIRE_OK;
}

uint16_t wire_encode_scan_result(const struct wire_scan_result *in, uint8_t *body)
{
    wire_put_u16(body + 0u, in->mask);
    wire_put_u16(body + 2u, in->sensed_mask);
    wire_put_u16(body + 4u, in->on_time_us);
    wire_put_u16(body + 6u, in->supply_counts);
    for (uint8_t i = 0; i < 16u; i++) {
        wire_put_u16(body + 8u + i * 2u, in->drain_counts[i]);
    }
    for (uint8_t i = 0; i < 16u; i++) {
        wire_put_u16(body + 40u + i * 2u, in->fine_counts[i]);
    }
    for (uint8_t i = 0; i < 16u; i++) {
        wire_put_u16(body + 72u + i * 2u, in->wide_counts[i]);
    }
    return 104u;
}

uint8_t wire_decode_trace_chunk(const uint8_t *body, uint16_t size, struct wire_trace_chunk *out)
{
    if (size < 4u || size > 204u) {
        return WIRE_WRONG_SIZE;
    }
    out->trace_id = wire_get_u16(body + 0u);
    out->first_sample = wire_get_u16(body + 2u);
    out->samples_size = (uint16_t)(size - 4u);
    memcpy(out->samples, body + 4u, out->samples_size);
    return WIRE_OK;
}

uint16_t wire_encode_trace_chunk(const struct wire_trace_chunk *in, uint8_t *body)
{
    wire_put_u16(body + 0u, in->trace_id);
    wire_put_u16(body + 2u, in->first_sample);
    memcpy(body + 4u, in->samples, in->samples_size);
    return (uint16_t)(4u + in->samples_size);
}

uint8_t wire_decode_telemetry(const uint8_t *body, uint16_t size, struct wire_telemetry *out)
{
    if (size != 32u) {
        return WIRE_WRONG_SIZE;
    }
    out->uptime_ms = wire_get_u32(body + 0u);
    out->state = *(body + 4u);
    if (out->state > 3u) {
        return 1u;
    }
    out->stop_reason = *(body + 5u);
    if (out->stop_reason > 6u) {
        return 2u;
    }
    out->stop_input_open = *(body + 6u);
    if (out->stop_input_open > 1u) {
        return 3u;
    }
    out->supply_mv = wire_get_u16(body + 7u);
    out->board_temperature_dc = (int16_t)wire_get_u16(body + 9u);
    out->driving_channel = *(body + 11u);
    out->tripped_mask = wire_get_u16(body + 12u);
    out->armed_mask = *(body + 14u);
    for (uint8_t i = 0; i < 5u; i++) {
        out->armed_left_ms[i] = wire_get_u16(body + 15u + i * 2u);
    }
    out->free_traces = *(body + 25u);
    out->bad_frames = wire_get_u16(body + 26u);
    out->stale_frames = wire_get_u16(body + 28u);
    out->overruns = wire_get_u16(body + 30u);
    return WIRE_OK;
}

uint16_t wire_encode_telemetry(const struct wire_telemetry *in, uint8_t *body)
{
    wire_put_u32(body + 0u, in->uptime_ms);
    *(body + 4u) = in->state;
    *(body + 5u) = in->stop_reason;
    *(body + 6u) = in->stop_input_open;
    wire_put_u16(body + 7u, in->supply_mv);
    wire_put_u16(body + 9u, (uint16_t)in->board_temperature_dc);
    *(body + 11u) = in->driving_channel;
    wire_put_u16(body + 12u, in->tripped_mask);
    *(body + 14u) = in->armed_mask;
    for (uint8_t i = 0; i < 5u; i++) {
        wire_put_u16(body + 15u + i * 2u, in->armed_left_ms[i]);
    }
    *(body + 25u) = in->free_traces;
    wire_put_u16(body + 26u, in->bad_frames);
    wire_put_u16(body + 28u, in->stale_frames);
    wire_put_u16(body + 30u, in->overruns);
    return 32u;
}

uint8_t wire_decode_trip(const uint8_t *body, uint16_t size, struct wire_trip *out)
{
    if (size != 3u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    out->current_ma = wire_get_u16(body + 1u);
    return WIRE_OK;
}

uint16_t wire_encode_trip(const struct wire_trip *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    wire_put_u16(body + 1u, in->current_ma);
    return 3u;
}

uint8_t wire_decode_stopped(const uint8_t *body, uint16_t size, struct wire_stopped *out)
{
    if (size != 1u) {
        return WIRE_WRONG_SIZE;
    }
    out->reason = *(body + 0u);
    if (out->reason > 6u) {
        return 0u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_stopped(const struct wire_stopped *in, uint8_t *body)
{
    *(body + 0u) = in->reason;
    return 1u;
}

uint8_t wire_decode_drive_ended(const uint8_t *body, uint16_t size, struct wire_drive_ended *out)
{
    if (size != 4u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    out->pulses = wire_get_u16(body + 1u);
    out->reason = *(body + 3u);
    if (out->reason > 4u) {
        return 2u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_drive_ended(const struct wire_drive_ended *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    wire_put_u16(body + 1u, in->pulses);
    *(body + 3u) = in->reason;
    return 4u;
}

uint8_t wire_decode_trace_ready(const uint8_t *body, uint16_t size, struct wire_trace_ready *out)
{
    if (size != 25u) {
        return WIRE_WRONG_SIZE;
    }
    out->trace_id = wire_get_u16(body + 0u);
    out->channel = *(body + 2u);
    out->pulse_index = wire_get_u16(body + 3u);
    out->sample_count = wire_get_u16(body + 5u);
    out->sample_period_ns = wire_get_u32(body + 7u);
    out->on_time_us = wire_get_u32(body + 11u);
    out->first_sample_ns = (int32_t)wire_get_u32(body + 15u);
    out->supply_skew_ns = (int16_t)wire_get_u16(body + 19u);
    out->drain_skew_ns = (int16_t)wire_get_u16(body + 21u);
    out->truncated = *(body + 23u);
    if (out->truncated > 1u) {
        return 9u;
    }
    out->tripped = *(body + 24u);
    if (out->tripped > 1u) {
        return 10u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_trace_ready(const struct wire_trace_ready *in, uint8_t *body)
{
    wire_put_u16(body + 0u, in->trace_id);
    *(body + 2u) = in->channel;
    wire_put_u16(body + 3u, in->pulse_index);
    wire_put_u16(body + 5u, in->sample_count);
    wire_put_u32(body + 7u, in->sample_period_ns);
    wire_put_u32(body + 11u, in->on_time_us);
    wire_put_u32(body + 15u, (uint32_t)in->first_sample_ns);
    wire_put_u16(body + 19u, (uint16_t)in->supply_skew_ns);
    wire_put_u16(body + 21u, (uint16_t)in->drain_skew_ns);
    *(body + 23u) = in->truncated;
    *(body + 24u) = in->tripped;
    return 25u;
}

uint8_t wire_decode_dropout(const uint8_t *body, uint16_t size, struct wire_dropout *out)
{
    if (size != 11u) {
        return WIRE_WRONG_SIZE;
    }
    out->channel = *(body + 0u);
    out->start_us = wire_get_u32(body + 1u);
    out->length_us = wire_get_u32(body + 5u);
    out->depth_permille = wire_get_u16(body + 9u);
    return WIRE_OK;
}

uint16_t wire_encode_dropout(const struct wire_dropout *in, uint8_t *body)
{
    *(body + 0u) = in->channel;
    wire_put_u32(body + 1u, in->start_us);
    wire_put_u32(body + 5u, in->length_us);
    wire_put_u16(body + 9u, in->depth_permille);
    return 11u;
}

uint8_t wire_decode_supply_event(const uint8_t *body, uint16_t size, struct wire_supply_event *out)
{
    if (size != 3u) {
        return WIRE_WRONG_SIZE;
    }
    out->present = *(body + 0u);
    if (out->present > 1u) {
        return 0u;
    }
    out->supply_mv = wire_get_u16(body + 1u);
    return WIRE_OK;
}

uint16_t wire_encode_supply_event(const struct wire_supply_event *in, uint8_t *body)
{
    *(body + 0u) = in->present;
    wire_put_u16(body + 1u, in->supply_mv);
    return 3u;
}

uint8_t wire_decode_disarmed(const uint8_t *body, uint16_t size, struct wire_disarmed *out)
{
    if (size != 2u) {
        return WIRE_WRONG_SIZE;
    }
    out->hazard = *(body + 0u);
    if (out->hazard > 5u) {
        return 0u;
    }
    out->reason = *(body + 1u);
    if (out->reason > 6u) {
        return 1u;
    }
    return WIRE_OK;
}

uint16_t wire_encode_disarmed(const struct wire_disarmed *in, uint8_t *body)
{
    *(body + 0u) = in->hazard;
    *(body + 1u) = in->reason;
    return 2u;
}

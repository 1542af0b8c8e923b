/* SPDX-License-Identifier: MIT */
#include "report.h"

#include <string.h>

#include "activity.h"
#include "arming.h"
#include "guard.h"
#include "limits.h"
#include "receive.h"
#include "send.h"
#include "trace.h"
#include "trip.h"
#include "watch.h"
#include "wire_messages_gen.h"

static const struct hal_board *board;
static bool telemetry;
static uint32_t next_ms;

void report_reset(const struct hal_board *the_board)
{
    board = the_board;
    telemetry = false;
}

/* Copy a text into a zero-padded field. */
static void text(char *to, size_t size, const char *from)
{
    size_t length = strlen(from);
    memset(to, 0, size);
    memcpy(to, from, length < size ? length : size);
}

uint16_t report_identity(uint8_t *body)
{
    struct wire_identity identity = {
        .protocol_major = WIRE_PROTOCOL_MAJOR,
        .protocol_minor = WIRE_PROTOCOL_MINOR,
        .spec_hash = WIRE_SPEC_HASH,
        .build_hash = board->build_hash,
        .simulated = board->simulated,
        .channel_count = board->channel_count,
        .adc_bits = board->adc_bits,
        .sample_period_ns = board->sample_period_ns,
        .max_trace_samples = board->max_trace_samples,
    };
    text(identity.firmware_version, sizeof identity.firmware_version, board->firmware_version);
    text(identity.board, sizeof identity.board, board->board);
    text(identity.serial_number, sizeof identity.serial_number, board->serial_number);
    text(identity.calibrated_on, sizeof identity.calibrated_on, board->calibrated_on);
    return wire_encode_identity(&identity, body);
}

uint16_t report_channel_info(uint8_t channel, uint8_t *body)
{
    const struct hal_channel *scale = &board->channels[channel - 1U];
    struct ceilings ceilings = limits_ceilings(channel);
    struct wire_channel_info info = {
        .channel = channel,
        .channel_kind = scale->kind,
        .max_on_time_us = ceilings.max_on_time_us,
        .max_hold_ms = ceilings.max_hold_ms,
        .max_duty_permille = ceilings.max_duty_permille,
        .max_count = ceilings.max_count,
        .max_current_ma = ceilings.max_current_ma,
        .max_sense_us = ceilings.max_sense_us,
        .wide_na_per_count = scale->wide_na_per_count,
        .wide_offset_counts_x100 = scale->wide_offset_x100,
        .fine_na_per_count = scale->fine_na_per_count,
        .fine_offset_counts_x100 = scale->fine_offset_x100,
        .supply_uv_per_count = board->supply_uv_per_count,
        .drain_uv_per_count = board->drain_uv_per_count,
        .gain_uncertainty_ppm = board->gain_uncertainty_ppm,
        .noise_counts_x100 = board->noise_counts_x100,
        .bias_mv = board->bias_mv,
        .bias_ohm = board->bias_ohm,
        .clamp_mv = board->clamp_mv,
    };
    return wire_encode_channel_info(&info, body);
}

static uint16_t all_overruns(void)
{
    uint32_t all = (uint32_t)trace_overruns() + watch_overruns() + receive_lost_frames();
    return (uint16_t)(all > UINT16_MAX ? UINT16_MAX : all);
}

uint16_t report_status(uint8_t *body)
{
    struct wire_status status = {
        .uptime_ms = guard_uptime_ms(),
        .state = guard_stopped() ? (uint8_t)WIRE_BOX_STATE_STOPPED : activity_state(),
        .stop_reason = guard_reason(),
        .stop_input_open = hal_stop_input_open(),
        .supply_mv = guard_supply_mv(),
        .board_temperature_dc = hal_temperature_dc(),
        .driving_channel = activity_channel(),
        .tripped_mask = trip_mask(),
        .armed_mask = arming_mask(),
        .free_traces = trace_free(),
        .bad_frames = receive_bad_frames(),
        .stale_frames = receive_stale_frames(),
        .overruns = all_overruns(),
    };
    for (uint8_t hazard = 1; hazard < ARMING_CLASSES; hazard++) {
        status.armed_left_ms[hazard - 1U] = arming_left_ms(hazard);
    }
    return wire_encode_status(&status, body);
}

void report_begin_telemetry(void)
{
    telemetry = true;
    next_ms = guard_uptime_ms() + WIRE_TELEMETRY_PERIOD_MS;
}

void report_poll(void)
{
    if (!telemetry || (int32_t)(guard_uptime_ms() - next_ms) < 0) {
        return;
    }
    next_ms += WIRE_TELEMETRY_PERIOD_MS;
    uint8_t body[WIRE_TELEMETRY_BYTES];
    send_event(WIRE_KIND_TELEMETRY, body, report_status(body));
}

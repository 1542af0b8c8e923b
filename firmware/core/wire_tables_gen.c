/* SPDX-License-Identifier: MIT */
/* Tables of the Loomproof box protocol. Generated from wire.toml by `python -m loomproof_wire.generate`; do not edit.
 *
 * wire_codec.c interprets them. */
#include "wire_tables.h"

#include <stddef.h>

#include "rom.h"
#include "wire_gen.h"

#define AT(message, member) ((uint8_t)offsetof(struct wire_##message, member))

const struct wire_range wire_tables_ranges[] ROM = {
    {0UL, 4294967295UL}, /* 0 */
    {1UL, 4294967294UL}, /* 1 */
    {1UL, 15UL}, /* 2 */
    {0UL, 9UL}, /* 3 */
    {0UL, 5UL}, /* 4 */
    {0UL, 1UL}, /* 5 */
    {50UL, 99950UL}, /* 6 */
    {0UL, 10000UL}, /* 7 */
    {1UL, 899UL}, /* 8 */
    {1UL, 1999UL}, /* 9 */
    {10UL, 19990UL}, /* 10 */
    {0UL, 200UL}, /* 11 */
    {1UL, 4UL}, /* 12 */
    {100UL, 59900UL}, /* 13 */
    {200UL, 9999800UL}, /* 14 */
    {1UL, 254UL}, /* 15 */
    {0UL, 600UL}, /* 16 */
    {1UL, 9999UL}, /* 17 */
    {150UL, 850UL}, /* 18 */
    {50UL, 900UL}, /* 19 */
    {4294965296UL, 4000UL}, /* 20 */
    {1000UL, 999000UL}, /* 21 */
    {10UL, 190UL}, /* 22 */
    {1UL, 599UL}, /* 23 */
    {1UL, 599999UL}, /* 24 */
    {1000UL, 9000UL}, /* 25 */
    {20UL, 980UL}, /* 26 */
    {1UL, 20UL}, /* 27 */
    {8UL, 8UL}, /* 28 */
    {0UL, 3UL}, /* 29 */
    {0UL, 10UL}, /* 30 */
    {0UL, 4UL}, /* 31 */
    {0UL, 6UL}, /* 32 */
};

const struct wire_field wire_tables_fields[] ROM = {
    {AT(hello, protocol_major), WIRE_TYPE_U8, 1U, 0U},
    {AT(hello, protocol_minor), WIRE_TYPE_U8, 1U, 0U},
    {AT(hello, session), WIRE_TYPE_U32, 1U, 1U},
    {AT(hello, spec_hash), WIRE_TYPE_U32, 1U, 0U},
    {AT(get_channel, channel), WIRE_TYPE_U8, 1U, 2U},
    {AT(configure, channel), WIRE_TYPE_U8, 1U, 2U},
    {AT(configure, load_class), WIRE_TYPE_U8, 1U, 3U},
    {AT(configure, hazard), WIRE_TYPE_U8, 1U, 4U},
    {AT(configure, fuel_pump), WIRE_TYPE_U8, 1U, 5U},
    {AT(configure, max_on_time_us), WIRE_TYPE_U32, 1U, 6U},
    {AT(configure, max_hold_ms), WIRE_TYPE_U16, 1U, 7U},
    {AT(configure, max_duty_permille), WIRE_TYPE_U16, 1U, 8U},
    {AT(configure, max_count), WIRE_TYPE_U16, 1U, 9U},
    {AT(configure, max_current_ma), WIRE_TYPE_U16, 1U, 10U},
    {AT(configure, max_sense_us), WIRE_TYPE_U16, 1U, 11U},
    {AT(arm, hazard), WIRE_TYPE_U8, 1U, 12U},
    {AT(arm, duration_ms), WIRE_TYPE_U16, 1U, 13U},
    {AT(disarm, hazard), WIRE_TYPE_U8, 1U, 4U},
    {AT(heartbeat, session), WIRE_TYPE_U32, 1U, 0U},
    {AT(drive_train, channel), WIRE_TYPE_U8, 1U, 2U},
    {AT(drive_train, count), WIRE_TYPE_U16, 1U, 9U},
    {AT(drive_train, period_us), WIRE_TYPE_U32, 1U, 14U},
    {AT(drive_train, on_time_us), WIRE_TYPE_U32, 1U, 6U},
    {AT(drive_train, trace_every), WIRE_TYPE_U16, 1U, 0U},
    {AT(drive_train, trace_decimation), WIRE_TYPE_U8, 1U, 15U},
    {AT(drive_train, trace_samples), WIRE_TYPE_U16, 1U, 16U},
    {AT(drive_hold, channel), WIRE_TYPE_U8, 1U, 2U},
    {AT(drive_hold, duration_ms), WIRE_TYPE_U16, 1U, 17U},
    {AT(drive_hold, trace_decimation), WIRE_TYPE_U8, 1U, 15U},
    {AT(drive_hold, trace_samples), WIRE_TYPE_U16, 1U, 16U},
    {AT(drive_peak_hold, channel), WIRE_TYPE_U8, 1U, 2U},
    {AT(drive_peak_hold, count), WIRE_TYPE_U16, 1U, 9U},
    {AT(drive_peak_hold, period_us), WIRE_TYPE_U32, 1U, 14U},
    {AT(drive_peak_hold, on_time_us), WIRE_TYPE_U32, 1U, 6U},
    {AT(drive_peak_hold, peak_us), WIRE_TYPE_U32, 1U, 6U},
    {AT(drive_peak_hold, chop_period_us), WIRE_TYPE_U16, 1U, 18U},
    {AT(drive_peak_hold, chop_duty_permille), WIRE_TYPE_U16, 1U, 19U},
    {AT(drive_peak_hold, trace_every), WIRE_TYPE_U16, 1U, 0U},
    {AT(drive_peak_hold, trace_decimation), WIRE_TYPE_U8, 1U, 15U},
    {AT(drive_peak_hold, trace_samples), WIRE_TYPE_U16, 1U, 16U},
    {AT(drive_stepper, channels), WIRE_TYPE_U8, 4U, 2U},
    {AT(drive_stepper, steps), WIRE_TYPE_I16, 1U, 20U},
    {AT(drive_stepper, step_us), WIRE_TYPE_U32, 1U, 21U},
    {AT(drive_bridge, channel_supply), WIRE_TYPE_U8, 1U, 2U},
    {AT(drive_bridge, channel_ground), WIRE_TYPE_U8, 1U, 2U},
    {AT(drive_bridge, duration_ms), WIRE_TYPE_U16, 1U, 17U},
    {AT(drive_bridge, chop_period_us), WIRE_TYPE_U16, 1U, 18U},
    {AT(drive_bridge, duty_permille), WIRE_TYPE_U16, 1U, 8U},
    {AT(drive_bridge, trace_decimation), WIRE_TYPE_U8, 1U, 15U},
    {AT(drive_bridge, trace_samples), WIRE_TYPE_U16, 1U, 16U},
    {AT(sense, channel), WIRE_TYPE_U8, 1U, 2U},
    {AT(sense, on_time_us), WIRE_TYPE_U16, 1U, 22U},
    {AT(sense, trace_samples), WIRE_TYPE_U16, 1U, 23U},
    {AT(scan, mask), WIRE_TYPE_U16, 1U, 0U},
    {AT(scan, on_time_us), WIRE_TYPE_U16, 1U, 11U},
    {AT(watch, channel), WIRE_TYPE_U8, 1U, 2U},
    {AT(watch, held), WIRE_TYPE_U8, 1U, 5U},
    {AT(watch, duration_ms), WIRE_TYPE_U32, 1U, 24U},
    {AT(watch, sample_hz), WIRE_TYPE_U16, 1U, 25U},
    {AT(watch, depth_permille), WIRE_TYPE_U16, 1U, 26U},
    {AT(read_trace, trace_id), WIRE_TYPE_U16, 1U, 0U},
    {AT(read_trace, first_sample), WIRE_TYPE_U16, 1U, 0U},
    {AT(ack, request_kind), WIRE_TYPE_U8, 1U, 0U},
    {AT(refused, request_kind), WIRE_TYPE_U8, 1U, 0U},
    {AT(refused, reason), WIRE_TYPE_U8, 1U, 27U},
    {AT(refused, detail), WIRE_TYPE_U32, 1U, 0U},
    {AT(identity, protocol_major), WIRE_TYPE_U8, 1U, 0U},
    {AT(identity, protocol_minor), WIRE_TYPE_U8, 1U, 0U},
    {AT(identity, spec_hash), WIRE_TYPE_U32, 1U, 0U},
    {AT(identity, firmware_version), WIRE_TYPE_TEXT, 16U, 0U},
    {AT(identity, build_hash), WIRE_TYPE_U32, 1U, 0U},
    {AT(identity, board), WIRE_TYPE_TEXT, 24U, 0U},
    {AT(identity, serial_number), WIRE_TYPE_TEXT, 16U, 0U},
    {AT(identity, simulated), WIRE_TYPE_U8, 1U, 5U},
    {AT(identity, channel_count), WIRE_TYPE_U8, 1U, 2U},
    {AT(identity, adc_bits), WIRE_TYPE_U8, 1U, 28U},
    {AT(identity, sample_period_ns), WIRE_TYPE_U32, 1U, 0U},
    {AT(identity, max_trace_samples), WIRE_TYPE_U16, 1U, 0U},
    {AT(identity, calibrated_on), WIRE_TYPE_TEXT, 10U, 0U},
    {AT(channel_info, channel), WIRE_TYPE_U8, 1U, 0U},
    {AT(channel_info, channel_kind), WIRE_TYPE_U8, 1U, 29U},
    {AT(channel_info, max_on_time_us), WIRE_TYPE_U32, 1U, 0U},
    {AT(channel_info, max_hold_ms), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_info, max_duty_permille), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_info, max_count), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_info, max_current_ma), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_info, max_sense_us), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_info, wide_na_per_count), WIRE_TYPE_U32, 1U, 0U},
    {AT(channel_info, wide_offset_counts_x100), WIRE_TYPE_I16, 1U, 0U},
    {AT(channel_info, fine_na_per_count), WIRE_TYPE_U32, 1U, 0U},
    {AT(channel_info, fine_offset_counts_x100), WIRE_TYPE_I16, 1U, 0U},
    {AT(channel_info, supply_uv_per_count), WIRE_TYPE_U32, 1U, 0U},
    {AT(channel_info, drain_uv_per_count), WIRE_TYPE_U32, 1U, 0U},
    {AT(channel_info, gain_uncertainty_ppm), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_info, noise_counts_x100), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_info, bias_mv), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_info, bias_ohm), WIRE_TYPE_U32, 1U, 0U},
    {AT(channel_info, clamp_mv), WIRE_TYPE_U32, 1U, 0U},
    {AT(channel_config, channel), WIRE_TYPE_U8, 1U, 0U},
    {AT(channel_config, load_class), WIRE_TYPE_U8, 1U, 3U},
    {AT(channel_config, hazard), WIRE_TYPE_U8, 1U, 4U},
    {AT(channel_config, fuel_pump), WIRE_TYPE_U8, 1U, 0U},
    {AT(channel_config, max_on_time_us), WIRE_TYPE_U32, 1U, 0U},
    {AT(channel_config, max_hold_ms), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_config, max_duty_permille), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_config, max_count), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_config, max_current_ma), WIRE_TYPE_U16, 1U, 0U},
    {AT(channel_config, max_sense_us), WIRE_TYPE_U16, 1U, 0U},
    {AT(digest, digest), WIRE_TYPE_U32, 1U, 0U},
    {AT(status, uptime_ms), WIRE_TYPE_U32, 1U, 0U},
    {AT(status, state), WIRE_TYPE_U8, 1U, 29U},
    {AT(status, stop_reason), WIRE_TYPE_U8, 1U, 30U},
    {AT(status, stop_input_open), WIRE_TYPE_U8, 1U, 5U},
    {AT(status, supply_mv), WIRE_TYPE_U16, 1U, 0U},
    {AT(status, board_temperature_dc), WIRE_TYPE_I16, 1U, 0U},
    {AT(status, driving_channel), WIRE_TYPE_U8, 1U, 0U},
    {AT(status, tripped_mask), WIRE_TYPE_U16, 1U, 0U},
    {AT(status, armed_mask), WIRE_TYPE_U8, 1U, 0U},
    {AT(status, armed_left_ms), WIRE_TYPE_U16, 5U, 0U},
    {AT(status, free_traces), WIRE_TYPE_U8, 1U, 0U},
    {AT(status, bad_frames), WIRE_TYPE_U16, 1U, 0U},
    {AT(status, stale_frames), WIRE_TYPE_U16, 1U, 0U},
    {AT(status, overruns), WIRE_TYPE_U16, 1U, 0U},
    {AT(scan_result, mask), WIRE_TYPE_U16, 1U, 0U},
    {AT(scan_result, sensed_mask), WIRE_TYPE_U16, 1U, 0U},
    {AT(scan_result, on_time_us), WIRE_TYPE_U16, 1U, 0U},
    {AT(scan_result, supply_counts), WIRE_TYPE_U16, 1U, 0U},
    {AT(scan_result, drain_counts), WIRE_TYPE_U16, 16U, 0U},
    {AT(scan_result, fine_counts), WIRE_TYPE_U16, 16U, 0U},
    {AT(scan_result, wide_counts), WIRE_TYPE_U16, 16U, 0U},
    {AT(trace_chunk, trace_id), WIRE_TYPE_U16, 1U, 0U},
    {AT(trace_chunk, first_sample), WIRE_TYPE_U16, 1U, 0U},
    {AT(trace_chunk, samples_size), WIRE_TYPE_TAIL, 1U, 0U},
    {AT(trip, channel), WIRE_TYPE_U8, 1U, 0U},
    {AT(trip, current_ma), WIRE_TYPE_U16, 1U, 0U},
    {AT(stopped, reason), WIRE_TYPE_U8, 1U, 30U},
    {AT(drive_ended, channel), WIRE_TYPE_U8, 1U, 0U},
    {AT(drive_ended, pulses), WIRE_TYPE_U16, 1U, 0U},
    {AT(drive_ended, reason), WIRE_TYPE_U8, 1U, 31U},
    {AT(trace_ready, trace_id), WIRE_TYPE_U16, 1U, 0U},
    {AT(trace_ready, channel), WIRE_TYPE_U8, 1U, 0U},
    {AT(trace_ready, pulse_index), WIRE_TYPE_U16, 1U, 0U},
    {AT(trace_ready, sample_count), WIRE_TYPE_U16, 1U, 0U},
    {AT(trace_ready, sample_period_ns), WIRE_TYPE_U32, 1U, 0U},
    {AT(trace_ready, on_time_us), WIRE_TYPE_U32, 1U, 0U},
    {AT(trace_ready, first_sample_ns), WIRE_TYPE_I32, 1U, 0U},
    {AT(trace_ready, supply_skew_ns), WIRE_TYPE_I16, 1U, 0U},
    {AT(trace_ready, drain_skew_ns), WIRE_TYPE_I16, 1U, 0U},
    {AT(trace_ready, truncated), WIRE_TYPE_U8, 1U, 5U},
    {AT(trace_ready, tripped), WIRE_TYPE_U8, 1U, 5U},
    {AT(dropout, channel), WIRE_TYPE_U8, 1U, 0U},
    {AT(dropout, start_us), WIRE_TYPE_U32, 1U, 0U},
    {AT(dropout, length_us), WIRE_TYPE_U32, 1U, 0U},
    {AT(dropout, depth_permille), WIRE_TYPE_U16, 1U, 0U},
    {AT(supply_event, present), WIRE_TYPE_U8, 1U, 5U},
    {AT(supply_event, supply_mv), WIRE_TYPE_U16, 1U, 0U},
    {AT(disarmed, hazard), WIRE_TYPE_U8, 1U, 4U},
    {AT(disarmed, reason), WIRE_TYPE_U8, 1U, 32U},
};

const struct wire_layout wire_tables_layouts[] ROM = {
    [WIRE_LAYOUT_HELLO] = {0U, 4U, 10U, 0U},
    [WIRE_LAYOUT_GET_CHANNEL] = {4U, 1U, 1U, 0U},
    [WIRE_LAYOUT_CONFIGURE] = {5U, 10U, 18U, 0U},
    [WIRE_LAYOUT_GET_CONFIG] = {4U, 1U, 1U, 0U},
    [WIRE_LAYOUT_ARM] = {15U, 2U, 3U, 0U},
    [WIRE_LAYOUT_DISARM] = {17U, 1U, 1U, 0U},
    [WIRE_LAYOUT_HEARTBEAT] = {18U, 1U, 4U, 0U},
    [WIRE_LAYOUT_DRIVE_TRAIN] = {19U, 7U, 16U, 0U},
    [WIRE_LAYOUT_DRIVE_HOLD] = {26U, 4U, 6U, 0U},
    [WIRE_LAYOUT_DRIVE_PEAK_HOLD] = {30U, 10U, 24U, 0U},
    [WIRE_LAYOUT_DRIVE_STEPPER] = {40U, 3U, 10U, 0U},
    [WIRE_LAYOUT_DRIVE_BRIDGE] = {43U, 7U, 11U, 0U},
    [WIRE_LAYOUT_SENSE] = {50U, 3U, 5U, 0U},
    [WIRE_LAYOUT_SCAN] = {53U, 2U, 4U, 0U},
    [WIRE_LAYOUT_WATCH] = {55U, 5U, 10U, 0U},
    [WIRE_LAYOUT_READ_TRACE] = {60U, 2U, 4U, 0U},
    [WIRE_LAYOUT_ACK] = {62U, 1U, 1U, 0U},
    [WIRE_LAYOUT_REFUSED] = {63U, 3U, 6U, 0U},
    [WIRE_LAYOUT_IDENTITY] = {66U, 13U, 85U, 0U},
    [WIRE_LAYOUT_CHANNEL_INFO] = {79U, 19U, 50U, 0U},
    [WIRE_LAYOUT_CHANNEL_CONFIG] = {98U, 10U, 18U, 0U},
    [WIRE_LAYOUT_DIGEST] = {108U, 1U, 4U, 0U},
    [WIRE_LAYOUT_STATUS] = {109U, 14U, 32U, 0U},
    [WIRE_LAYOUT_SCAN_RESULT] = {123U, 7U, 104U, 0U},
    [WIRE_LAYOUT_TRACE_CHUNK] = {130U, 3U, 4U, 200U},
    [WIRE_LAYOUT_TELEMETRY] = {109U, 14U, 32U, 0U},
    [WIRE_LAYOUT_TRIP] = {133U, 2U, 3U, 0U},
    [WIRE_LAYOUT_STOPPED] = {135U, 1U, 1U, 0U},
    [WIRE_LAYOUT_DRIVE_ENDED] = {136U, 3U, 4U, 0U},
    [WIRE_LAYOUT_TRACE_READY] = {139U, 11U, 25U, 0U},
    [WIRE_LAYOUT_DROPOUT] = {150U, 4U, 11U, 0U},
    [WIRE_LAYOUT_SUPPLY_EVENT] = {154U, 2U, 3U, 0U},
    [WIRE_LAYOUT_DISARMED] = {156U, 2U, 2U, 0U},
};

_Static_assert(sizeof(struct wire_hello) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_get_channel) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_configure) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_get_config) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_arm) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_disarm) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_heartbeat) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_drive_train) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_drive_hold) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_drive_peak_hold) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_drive_stepper) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_drive_bridge) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_sense) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_scan) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_watch) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_read_trace) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_ack) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_refused) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_identity) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_channel_info) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_channel_config) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_digest) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_status) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_scan_result) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_trace_chunk) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_telemetry) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_trip) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_stopped) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_drive_ended) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_trace_ready) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_dropout) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_supply_event) <= UINT8_MAX + 1, "a member's place must fit a byte");
_Static_assert(sizeof(struct wire_disarmed) <= UINT8_MAX + 1, "a member's place must fit a byte");

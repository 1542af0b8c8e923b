/* Tables of the Loomproof box protocol. Generated from wire.toml by `python -m loomproof_wire.generate`; do not edit.
 *
 * wire_codec.c interprets them. */
#include "wire_gen.h"

#include <stddef.h>

#include "rom.h"

#define AT(message, member) ((uint8_t)offsetof(struct wire_##message, member))

const struct wire_range wire_ranges[] ROM = {
    {0ul, 4294967295ul}, /* 0 */
    {1ul, 4294967294ul}, /* 1 */
    {1ul, 15ul}, /* 2 */
    {0ul, 9ul}, /* 3 */
    {0ul, 5ul}, /* 4 */
    {0ul, 1ul}, /* 5 */
    {50ul, 99950ul}, /* 6 */
    {0ul, 10000ul}, /* 7 */
    {1ul, 899ul}, /* 8 */
    {1ul, 1999ul}, /* 9 */
    {10ul, 19990ul}, /* 10 */
    {0ul, 200ul}, /* 11 */
    {1ul, 4ul}, /* 12 */
    {100ul, 59900ul}, /* 13 */
    {200ul, 9999800ul}, /* 14 */
    {1ul, 254ul}, /* 15 */
    {0ul, 600ul}, /* 16 */
    {1ul, 9999ul}, /* 17 */
    {150ul, 850ul}, /* 18 */
    {50ul, 900ul}, /* 19 */
    {4294965296ul, 4000ul}, /* 20 */
    {1000ul, 999000ul}, /* 21 */
    {10ul, 190ul}, /* 22 */
    {1ul, 599ul}, /* 23 */
    {1ul, 599999ul}, /* 24 */
    {1000ul, 9000ul}, /* 25 */
    {20ul, 980ul}, /* 26 */
    {1ul, 19ul}, /* 27 */
    {8ul, 8ul}, /* 28 */
    {0ul, 3ul}, /* 29 */
    {0ul, 6ul}, /* 30 */
    {0ul, 4ul}, /* 31 */
};

const struct wire_field wire_fields[] ROM = {
    {AT(hello, protocol_major), WIRE_TYPE_U8, 1u, 0u},
    {AT(hello, protocol_minor), WIRE_TYPE_U8, 1u, 0u},
    {AT(hello, session), WIRE_TYPE_U32, 1u, 1u},
    {AT(hello, spec_hash), WIRE_TYPE_U32, 1u, 0u},
    {AT(get_channel, channel), WIRE_TYPE_U8, 1u, 2u},
    {AT(configure, channel), WIRE_TYPE_U8, 1u, 2u},
    {AT(configure, load_class), WIRE_TYPE_U8, 1u, 3u},
    {AT(configure, hazard), WIRE_TYPE_U8, 1u, 4u},
    {AT(configure, fuel_pump), WIRE_TYPE_U8, 1u, 5u},
    {AT(configure, max_on_time_us), WIRE_TYPE_U32, 1u, 6u},
    {AT(configure, max_hold_ms), WIRE_TYPE_U16, 1u, 7u},
    {AT(configure, max_duty_permille), WIRE_TYPE_U16, 1u, 8u},
    {AT(configure, max_count), WIRE_TYPE_U16, 1u, 9u},
    {AT(configure, max_current_ma), WIRE_TYPE_U16, 1u, 10u},
    {AT(configure, max_sense_us), WIRE_TYPE_U16, 1u, 11u},
    {AT(arm, hazard), WIRE_TYPE_U8, 1u, 12u},
    {AT(arm, duration_ms), WIRE_TYPE_U16, 1u, 13u},
    {AT(disarm, hazard), WIRE_TYPE_U8, 1u, 4u},
    {AT(heartbeat, session), WIRE_TYPE_U32, 1u, 0u},
    {AT(drive_train, channel), WIRE_TYPE_U8, 1u, 2u},
    {AT(drive_train, count), WIRE_TYPE_U16, 1u, 9u},
    {AT(drive_train, period_us), WIRE_TYPE_U32, 1u, 14u},
    {AT(drive_train, on_time_us), WIRE_TYPE_U32, 1u, 6u},
    {AT(drive_train, trace_every), WIRE_TYPE_U16, 1u, 0u},
    {AT(drive_train, trace_decimation), WIRE_TYPE_U8, 1u, 15u},
    {AT(drive_train, trace_samples), WIRE_TYPE_U16, 1u, 16u},
    {AT(drive_hold, channel), WIRE_TYPE_U8, 1u, 2u},
    {AT(drive_hold, duration_ms), WIRE_TYPE_U16, 1u, 17u},
    {AT(drive_hold, trace_decimation), WIRE_TYPE_U8, 1u, 15u},
    {AT(drive_hold, trace_samples), WIRE_TYPE_U16, 1u, 16u},
    {AT(drive_peak_hold, channel), WIRE_TYPE_U8, 1u, 2u},
    {AT(drive_peak_hold, count), WIRE_TYPE_U16, 1u, 9u},
    {AT(drive_peak_hold, period_us), WIRE_TYPE_U32, 1u, 14u},
    {AT(drive_peak_hold, on_time_us), WIRE_TYPE_U32, 1u, 6u},
    {AT(drive_peak_hold, peak_us), WIRE_TYPE_U32, 1u, 6u},
    {AT(drive_peak_hold, chop_period_us), WIRE_TYPE_U16, 1u, 18u},
    {AT(drive_peak_hold, chop_duty_permille), WIRE_TYPE_U16, 1u, 19u},
    {AT(drive_peak_hold, trace_every), WIRE_TYPE_U16, 1u, 0u},
    {AT(drive_peak_hold, trace_decimation), WIRE_TYPE_U8, 1u, 15u},
    {AT(drive_peak_hold, trace_samples), WIRE_TYPE_U16, 1u, 16u},
    {AT(drive_stepper, channels), WIRE_TYPE_U8, 4u, 2u},
    {AT(drive_stepper, steps), WIRE_TYPE_I16, 1u, 20u},
    {AT(drive_stepper, step_us), WIRE_TYPE_U32, 1u, 21u},
    {AT(drive_bridge, channel_supply), WIRE_TYPE_U8, 1u, 2u},
    {AT(drive_bridge, channel_ground), WIRE_TYPE_U8, 1u, 2u},
    {AT(drive_bridge, duration_ms), WIRE_TYPE_U16, 1u, 17u},
    {AT(drive_bridge, chop_period_us), WIRE_TYPE_U16, 1u, 18u},
    {AT(drive_bridge, duty_permille), WIRE_TYPE_U16, 1u, 8u},
    {AT(drive_bridge, trace_decimation), WIRE_TYPE_U8, 1u, 15u},
    {AT(drive_bridge, trace_samples), WIRE_TYPE_U16, 1u, 16u},
    {AT(sense, channel), WIRE_TYPE_U8, 1u, 2u},
    {AT(sense, on_time_us), WIRE_TYPE_U16, 1u, 22u},
    {AT(sense, trace_samples), WIRE_TYPE_U16, 1u, 23u},
    {AT(scan, mask), WIRE_TYPE_U16, 1u, 0u},
    {AT(scan, on_time_us), WIRE_TYPE_U16, 1u, 11u},
    {AT(watch, channel), WIRE_TYPE_U8, 1u, 2u},
    {AT(watch, held), WIRE_TYPE_U8, 1u, 5u},
    {AT(watch, duration_ms), WIRE_TYPE_U32, 1u, 24u},
    {AT(watch, sample_hz), WIRE_TYPE_U16, 1u, 25u},
    {AT(watch, depth_permille), WIRE_TYPE_U16, 1u, 26u},
    {AT(read_trace, trace_id), WIRE_TYPE_U16, 1u, 0u},
    {AT(read_trace, first_sample), WIRE_TYPE_U16, 1u, 0u},
    {AT(ack, request_kind), WIRE_TYPE_U8, 1u, 0u},
    {AT(refused, request_kind), WIRE_TYPE_U8, 1u, 0u},
    {AT(refused, reason), WIRE_TYPE_U8, 1u, 27u},
    {AT(refused, detail), WIRE_TYPE_U32, 1u, 0u},
    {AT(identity, protocol_major), WIRE_TYPE_U8, 1u, 0u},
    {AT(identity, protocol_minor), WIRE_TYPE_U8, 1u, 0u},
    {AT(identity, spec_hash), WIRE_TYPE_U32, 1u, 0u},
    {AT(identity, firmware_version), WIRE_TYPE_TEXT, 16u, 0u},
    {AT(identity, build_hash), WIRE_TYPE_U32, 1u, 0u},
    {AT(identity, board), WIRE_TYPE_TEXT, 24u, 0u},
    {AT(identity, serial_number), WIRE_TYPE_TEXT, 16u, 0u},
    {AT(identity, simulated), WIRE_TYPE_U8, 1u, 5u},
    {AT(identity, channel_count), WIRE_TYPE_U8, 1u, 2u},
    {AT(identity, adc_bits), WIRE_TYPE_U8, 1u, 28u},
    {AT(identity, sample_period_ns), WIRE_TYPE_U32, 1u, 0u},
    {AT(identity, max_trace_samples), WIRE_TYPE_U16, 1u, 0u},
    {AT(identity, calibrated_on), WIRE_TYPE_TEXT, 10u, 0u},
    {AT(channel_info, channel), WIRE_TYPE_U8, 1u, 0u},
    {AT(channel_info, channel_kind), WIRE_TYPE_U8, 1u, 29u},
    {AT(channel_info, max_on_time_us), WIRE_TYPE_U32, 1u, 0u},
    {AT(channel_info, max_hold_ms), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_info, max_duty_permille), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_info, max_count), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_info, max_current_ma), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_info, max_sense_us), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_info, wide_na_per_count), WIRE_TYPE_U32, 1u, 0u},
    {AT(channel_info, wide_offset_counts_x100), WIRE_TYPE_I16, 1u, 0u},
    {AT(channel_info, fine_na_per_count), WIRE_TYPE_U32, 1u, 0u},
    {AT(channel_info, fine_offset_counts_x100), WIRE_TYPE_I16, 1u, 0u},
    {AT(channel_info, supply_uv_per_count), WIRE_TYPE_U32, 1u, 0u},
    {AT(channel_info, drain_uv_per_count), WIRE_TYPE_U32, 1u, 0u},
    {AT(channel_info, gain_uncertainty_ppm), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_info, noise_counts_x100), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_info, bias_mv), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_info, bias_ohm), WIRE_TYPE_U32, 1u, 0u},
    {AT(channel_info, clamp_mv), WIRE_TYPE_U32, 1u, 0u},
    {AT(channel_config, channel), WIRE_TYPE_U8, 1u, 0u},
    {AT(channel_config, load_class), WIRE_TYPE_U8, 1u, 3u},
    {AT(channel_config, hazard), WIRE_TYPE_U8, 1u, 4u},
    {AT(channel_config, fuel_pump), WIRE_TYPE_U8, 1u, 0u},
    {AT(channel_config, max_on_time_us), WIRE_TYPE_U32, 1u, 0u},
    {AT(channel_config, max_hold_ms), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_config, max_duty_permille), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_config, max_count), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_config, max_current_ma), WIRE_TYPE_U16, 1u, 0u},
    {AT(channel_config, max_sense_us), WIRE_TYPE_U16, 1u, 0u},
    {AT(digest, digest), WIRE_TYPE_U32, 1u, 0u},
    {AT(status, uptime_ms), WIRE_TYPE_U32, 1u, 0u},
    {AT(status, state), WIRE_TYPE_U8, 1u, 29u},
    {AT(status, stop_reason), WIRE_TYPE_U8, 1u, 30u},
    {AT(status, stop_input_open), WIRE_TYPE_U8, 1u, 5u},
    {AT(status, supply_mv), WIRE_TYPE_U16, 1u, 0u},
    {AT(status, board_temperature_dc), WIRE_TYPE_I16, 1u, 0u},
    {AT(status, driving_channel), WIRE_TYPE_U8, 1u, 0u},
    {AT(status, tripped_mask), WIRE_TYPE_U16, 1u, 0u},
    {AT(status, armed_mask), WIRE_TYPE_U8, 1u, 0u},
    {AT(status, armed_left_ms), WIRE_TYPE_U16, 5u, 0u},
    {AT(status, free_traces), WIRE_TYPE_U8, 1u, 0u},
    {AT(status, bad_frames), WIRE_TYPE_U16, 1u, 0u},
    {AT(status, stale_frames), WIRE_TYPE_U16, 1u, 0u},
    {AT(status, overruns), WIRE_TYPE_U16, 1u, 0u},
    {AT(scan_result, mask), WIRE_TYPE_U16, 1u, 0u},
    {AT(scan_result, sensed_mask), WIRE_TYPE_U16, 1u, 0u},
    {AT(scan_result, on_time_us), WIRE_TYPE_U16, 1u, 0u},
    {AT(scan_result, supply_counts), WIRE_TYPE_U16, 1u, 0u},
    {AT(scan_result, drain_counts), WIRE_TYPE_U16, 16u, 0u},
    {AT(scan_result, fine_counts), WIRE_TYPE_U16, 16u, 0u},
    {AT(scan_result, wide_counts), WIRE_TYPE_U16, 16u, 0u},
    {AT(trace_chunk, trace_id), WIRE_TYPE_U16, 1u, 0u},
    {AT(trace_chunk, first_sample), WIRE_TYPE_U16, 1u, 0u},
    {AT(trace_chunk, samples_size), WIRE_TYPE_TAIL, 1u, 0u},
    {AT(trip, channel), WIRE_TYPE_U8, 1u, 0u},
    {AT(trip, current_ma), WIRE_TYPE_U16, 1u, 0u},
    {AT(stopped, reason), WIRE_TYPE_U8, 1u, 30u},
    {AT(drive_ended, channel), WIRE_TYPE_U8, 1u, 0u},
    {AT(drive_ended, pulses), WIRE_TYPE_U16, 1u, 0u},
    {AT(drive_ended, reason), WIRE_TYPE_U8, 1u, 31u},
    {AT(trace_ready, trace_id), WIRE_TYPE_U16, 1u, 0u},
    {AT(trace_ready, channel), WIRE_TYPE_U8, 1u, 0u},
    {AT(trace_ready, pulse_index), WIRE_TYPE_U16, 1u, 0u},
    {AT(trace_ready, sample_count), WIRE_TYPE_U16, 1u, 0u},
    {AT(trace_ready, sample_period_ns), WIRE_TYPE_U32, 1u, 0u},
    {AT(trace_ready, on_time_us), WIRE_TYPE_U32, 1u, 0u},
    {AT(trace_ready, first_sample_ns), WIRE_TYPE_I32, 1u, 0u},
    {AT(trace_ready, supply_skew_ns), WIRE_TYPE_I16, 1u, 0u},
    {AT(trace_ready, drain_skew_ns), WIRE_TYPE_I16, 1u, 0u},
    {AT(trace_ready, truncated), WIRE_TYPE_U8, 1u, 5u},
    {AT(trace_ready, tripped), WIRE_TYPE_U8, 1u, 5u},
    {AT(dropout, channel), WIRE_TYPE_U8, 1u, 0u},
    {AT(dropout, start_us), WIRE_TYPE_U32, 1u, 0u},
    {AT(dropout, length_us), WIRE_TYPE_U32, 1u, 0u},
    {AT(dropout, depth_permille), WIRE_TYPE_U16, 1u, 0u},
    {AT(supply_event, present), WIRE_TYPE_U8, 1u, 5u},
    {AT(supply_event, supply_mv), WIRE_TYPE_U16, 1u, 0u},
    {AT(disarmed, hazard), WIRE_TYPE_U8, 1u, 4u},
    {AT(disarmed, reason), WIRE_TYPE_U8, 1u, 30u},
};

const struct wire_layout wire_layouts[] ROM = {
    [WIRE_LAYOUT_HELLO] = {0u, 4u, 10u, 0u},
    [WIRE_LAYOUT_GET_CHANNEL] = {4u, 1u, 1u, 0u},
    [WIRE_LAYOUT_CONFIGURE] = {5u, 10u, 18u, 0u},
    [WIRE_LAYOUT_GET_CONFIG] = {4u, 1u, 1u, 0u},
    [WIRE_LAYOUT_ARM] = {15u, 2u, 3u, 0u},
    [WIRE_LAYOUT_DISARM] = {17u, 1u, 1u, 0u},
    [WIRE_LAYOUT_HEARTBEAT] = {18u, 1u, 4u, 0u},
    [WIRE_LAYOUT_DRIVE_TRAIN] = {19u, 7u, 16u, 0u},
    [WIRE_LAYOUT_DRIVE_HOLD] = {26u, 4u, 6u, 0u},
    [WIRE_LAYOUT_DRIVE_PEAK_HOLD] = {30u, 10u, 24u, 0u},
    [WIRE_LAYOUT_DRIVE_STEPPER] = {40u, 3u, 10u, 0u},
    [WIRE_LAYOUT_DRIVE_BRIDGE] = {43u, 7u, 11u, 0u},
    [WIRE_LAYOUT_SENSE] = {50u, 3u, 5u, 0u},
    [WIRE_LAYOUT_SCAN] = {53u, 2u, 4u, 0u},
    [WIRE_LAYOUT_WATCH] = {55u, 5u, 10u, 0u},
    [WIRE_LAYOUT_READ_TRACE] = {60u, 2u, 4u, 0u},
    [WIRE_LAYOUT_ACK] = {62u, 1u, 1u, 0u},
    [WIRE_LAYOUT_REFUSED] = {63u, 3u, 6u, 0u},
    [WIRE_LAYOUT_IDENTITY] = {66u, 13u, 85u, 0u},
    [WIRE_LAYOUT_CHANNEL_INFO] = {79u, 19u, 50u, 0u},
    [WIRE_LAYOUT_CHANNEL_CONFIG] = {98u, 10u, 18u, 0u},
    [WIRE_LAYOUT_DIGEST] = {108u, 1u, 4u, 0u},
    [WIRE_LAYOUT_STATUS] = {109u, 14u, 32u, 0u},
    [WIRE_LAYOUT_SCAN_RESULT] = {123u, 7u, 104u, 0u},
    [WIRE_LAYOUT_TRACE_CHUNK] = {130u, 3u, 4u, 200u},
    [WIRE_LAYOUT_TELEMETRY] = {109u, 14u, 32u, 0u},
    [WIRE_LAYOUT_TRIP] = {133u, 2u, 3u, 0u},
    [WIRE_LAYOUT_STOPPED] = {135u, 1u, 1u, 0u},
    [WIRE_LAYOUT_DRIVE_ENDED] = {136u, 3u, 4u, 0u},
    [WIRE_LAYOUT_TRACE_READY] = {139u, 11u, 25u, 0u},
    [WIRE_LAYOUT_DROPOUT] = {150u, 4u, 11u, 0u},
    [WIRE_LAYOUT_SUPPLY_EVENT] = {154u, 2u, 3u, 0u},
    [WIRE_LAYOUT_DISARMED] = {156u, 2u, 2u, 0u},
};

/* The typed calls, for who does not inline them. */
_Static_assert(sizeof(struct wire_hello) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_hello(const uint8_t *, uint16_t, struct wire_hello *);
extern inline uint16_t wire_encode_hello(const struct wire_hello *, uint8_t *);
_Static_assert(sizeof(struct wire_get_channel) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_get_channel(const uint8_t *, uint16_t, struct wire_get_channel *);
extern inline uint16_t wire_encode_get_channel(const struct wire_get_channel *, uint8_t *);
_Static_assert(sizeof(struct wire_configure) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_configure(const uint8_t *, uint16_t, struct wire_configure *);
extern inline uint16_t wire_encode_configure(const struct wire_configure *, uint8_t *);
_Static_assert(sizeof(struct wire_get_config) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_get_config(const uint8_t *, uint16_t, struct wire_get_config *);
extern inline uint16_t wire_encode_get_config(const struct wire_get_config *, uint8_t *);
_Static_assert(sizeof(struct wire_arm) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_arm(const uint8_t *, uint16_t, struct wire_arm *);
extern inline uint16_t wire_encode_arm(const struct wire_arm *, uint8_t *);
_Static_assert(sizeof(struct wire_disarm) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_disarm(const uint8_t *, uint16_t, struct wire_disarm *);
extern inline uint16_t wire_encode_disarm(const struct wire_disarm *, uint8_t *);
_Static_assert(sizeof(struct wire_heartbeat) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_heartbeat(const uint8_t *, uint16_t, struct wire_heartbeat *);
extern inline uint16_t wire_encode_heartbeat(const struct wire_heartbeat *, uint8_t *);
_Static_assert(sizeof(struct wire_drive_train) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_drive_train(const uint8_t *, uint16_t, struct wire_drive_train *);
extern inline uint16_t wire_encode_drive_train(const struct wire_drive_train *, uint8_t *);
_Static_assert(sizeof(struct wire_drive_hold) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_drive_hold(const uint8_t *, uint16_t, struct wire_drive_hold *);
extern inline uint16_t wire_encode_drive_hold(const struct wire_drive_hold *, uint8_t *);
_Static_assert(sizeof(struct wire_drive_peak_hold) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_drive_peak_hold(const uint8_t *, uint16_t, struct wire_drive_peak_hold *);
extern inline uint16_t wire_encode_drive_peak_hold(const struct wire_drive_peak_hold *, uint8_t *);
_Static_assert(sizeof(struct wire_drive_stepper) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_drive_stepper(const uint8_t *, uint16_t, struct wire_drive_stepper *);
extern inline uint16_t wire_encode_drive_stepper(const struct wire_drive_stepper *, uint8_t *);
_Static_assert(sizeof(struct wire_drive_bridge) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_drive_bridge(const uint8_t *, uint16_t, struct wire_drive_bridge *);
extern inline uint16_t wire_encode_drive_bridge(const struct wire_drive_bridge *, uint8_t *);
_Static_assert(sizeof(struct wire_sense) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_sense(const uint8_t *, uint16_t, struct wire_sense *);
extern inline uint16_t wire_encode_sense(const struct wire_sense *, uint8_t *);
_Static_assert(sizeof(struct wire_scan) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_scan(const uint8_t *, uint16_t, struct wire_scan *);
extern inline uint16_t wire_encode_scan(const struct wire_scan *, uint8_t *);
_Static_assert(sizeof(struct wire_watch) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_watch(const uint8_t *, uint16_t, struct wire_watch *);
extern inline uint16_t wire_encode_watch(const struct wire_watch *, uint8_t *);
_Static_assert(sizeof(struct wire_read_trace) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_read_trace(const uint8_t *, uint16_t, struct wire_read_trace *);
extern inline uint16_t wire_encode_read_trace(const struct wire_read_trace *, uint8_t *);
_Static_assert(sizeof(struct wire_ack) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_ack(const uint8_t *, uint16_t, struct wire_ack *);
extern inline uint16_t wire_encode_ack(const struct wire_ack *, uint8_t *);
_Static_assert(sizeof(struct wire_refused) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_refused(const uint8_t *, uint16_t, struct wire_refused *);
extern inline uint16_t wire_encode_refused(const struct wire_refused *, uint8_t *);
_Static_assert(sizeof(struct wire_identity) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_identity(const uint8_t *, uint16_t, struct wire_identity *);
extern inline uint16_t wire_encode_identity(const struct wire_identity *, uint8_t *);
_Static_assert(sizeof(struct wire_channel_info) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_channel_info(const uint8_t *, uint16_t, struct wire_channel_info *);
extern inline uint16_t wire_encode_channel_info(const struct wire_channel_info *, uint8_t *);
_Static_assert(sizeof(struct wire_channel_config) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_channel_config(const uint8_t *, uint16_t, struct wire_channel_config *);
extern inline uint16_t wire_encode_channel_config(const struct wire_channel_config *, uint8_t *);
_Static_assert(sizeof(struct wire_digest) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_digest(const uint8_t *, uint16_t, struct wire_digest *);
extern inline uint16_t wire_encode_digest(const struct wire_digest *, uint8_t *);
_Static_assert(sizeof(struct wire_status) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_status(const uint8_t *, uint16_t, struct wire_status *);
extern inline uint16_t wire_encode_status(const struct wire_status *, uint8_t *);
_Static_assert(sizeof(struct wire_scan_result) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_scan_result(const uint8_t *, uint16_t, struct wire_scan_result *);
extern inline uint16_t wire_encode_scan_result(const struct wire_scan_result *, uint8_t *);
_Static_assert(sizeof(struct wire_trace_chunk) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_trace_chunk(const uint8_t *, uint16_t, struct wire_trace_chunk *);
extern inline uint16_t wire_encode_trace_chunk(const struct wire_trace_chunk *, uint8_t *);
_Static_assert(sizeof(struct wire_telemetry) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_telemetry(const uint8_t *, uint16_t, struct wire_telemetry *);
extern inline uint16_t wire_encode_telemetry(const struct wire_telemetry *, uint8_t *);
_Static_assert(sizeof(struct wire_trip) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_trip(const uint8_t *, uint16_t, struct wire_trip *);
extern inline uint16_t wire_encode_trip(const struct wire_trip *, uint8_t *);
_Static_assert(sizeof(struct wire_stopped) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_stopped(const uint8_t *, uint16_t, struct wire_stopped *);
extern inline uint16_t wire_encode_stopped(const struct wire_stopped *, uint8_t *);
_Static_assert(sizeof(struct wire_drive_ended) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_drive_ended(const uint8_t *, uint16_t, struct wire_drive_ended *);
extern inline uint16_t wire_encode_drive_ended(const struct wire_drive_ended *, uint8_t *);
_Static_assert(sizeof(struct wire_trace_ready) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_trace_ready(const uint8_t *, uint16_t, struct wire_trace_ready *);
extern inline uint16_t wire_encode_trace_ready(const struct wire_trace_ready *, uint8_t *);
_Static_assert(sizeof(struct wire_dropout) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_dropout(const uint8_t *, uint16_t, struct wire_dropout *);
extern inline uint16_t wire_encode_dropout(const struct wire_dropout *, uint8_t *);
_Static_assert(sizeof(struct wire_supply_event) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_supply_event(const uint8_t *, uint16_t, struct wire_supply_event *);
extern inline uint16_t wire_encode_supply_event(const struct wire_supply_event *, uint8_t *);
_Static_assert(sizeof(struct wire_disarmed) <= UINT8_MAX + 1, "a member's place must fit a byte");
extern inline uint8_t wire_decode_disarmed(const uint8_t *, uint16_t, struct wire_disarmed *);
extern inline uint16_t wire_encode_disarmed(const struct wire_disarmed *, uint8_t *);

/* SPDX-License-Identifier: MIT */
/* Messages of the Loomproof box protocol, from wire.toml by `python -m loomproof_wire.generate`: do not edit */
#ifndef LOOMPROOF_WIRE_GEN_H
#define LOOMPROOF_WIRE_GEN_H

#include <stdint.h>

#define WIRE_PROTOCOL_MAJOR 1U
#define WIRE_PROTOCOL_MINOR 0U
#define WIRE_SPEC_HASH 0x9FC71EF9UL /* CRC-32 of the bytes of wire.toml */

#define WIRE_DELIMITER 0U
#define WIRE_MAX_BODY_BYTES 220U
#define WIRE_DEFAULT_BAUD 250000UL

/* Times that both ends keep. */
#define WIRE_HEARTBEAT_PERIOD_MS 100U
#define WIRE_HEARTBEAT_TIMEOUT_MS 400U
#define WIRE_TELEMETRY_PERIOD_MS 100U
#define WIRE_REQUEST_TIMEOUT_MS 250U
#define WIRE_REQUEST_TRIES 3U

/* What no configuration can raise. */
#define WIRE_MAX_ON_TIME_US 100000UL
#define WIRE_MAX_HOLD_MS 10000U
#define WIRE_MAX_WATCH_MS 600000UL
#define WIRE_MAX_COUNT 2000U
#define WIRE_MAX_DUTY_PERMILLE 900U
#define WIRE_MIN_PERIOD_US 200U
#define WIRE_MIN_ON_TIME_US 50U
#define WIRE_MIN_CHOP_PERIOD_US 150U
#define WIRE_MAX_CURRENT_MA 20000U
#define WIRE_MIN_SENSE_US 10U
#define WIRE_MAX_SENSE_US 200U
#define WIRE_MAX_ARM_MS 60000U
#define WIRE_MAX_TRACE_SAMPLES 600U
#define WIRE_SAMPLES_PER_CHUNK 25U
#define WIRE_MAX_CHANNELS 16U
#define WIRE_MAX_DROPOUTS_PER_EVENT 1U
#define WIRE_MAX_STOP_AHEAD 255U

/* What drives the pin. */
enum wire_channel_kind {
    WIRE_CHANNEL_KIND_LOW_SIDE = 0, /* switches the load to ground */
    WIRE_CHANNEL_KIND_HIGH_SIDE = 1, /* switches the load to the supply */
    WIRE_CHANNEL_KIND_LOGIC = 2, /* 5 V logic output */
    WIRE_CHANNEL_KIND_HALF_BRIDGE = 3, /* either rail */
};

/* What the console says hangs on a channel; the box picks its ceilings by it. */
enum wire_load_class {
    WIRE_LOAD_CLASS_NONE = 0, /* nothing may be driven */
    WIRE_LOAD_CLASS_INJECTOR = 1, /* fuel injector */
    WIRE_LOAD_CLASS_COIL = 2, /* bare ignition coil primary */
    WIRE_LOAD_CLASS_IGNITER_COIL = 3, /* coil with built-in igniter (logic input) */
    WIRE_LOAD_CLASS_RELAY = 4, /* relay coil */
    WIRE_LOAD_CLASS_VALVE = 5, /* solenoid valve */
    WIRE_LOAD_CLASS_LAMP = 6, /* tungsten lamp */
    WIRE_LOAD_CLASS_MOTOR = 7, /* DC motor */
    WIRE_LOAD_CLASS_STEPPER = 8, /* one winding of a stepper */
    WIRE_LOAD_CLASS_LOGIC_INPUT = 9, /* tachometer or other logic input */
};

/* What can hurt someone when the channel is driven. */
enum wire_hazard {
    WIRE_HAZARD_NONE = 0, /* needs no arming */
    WIRE_HAZARD_FUEL = 1, /* releases fuel */
    WIRE_HAZARD_SPARK = 2, /* makes high voltage and a spark */
    WIRE_HAZARD_CRANK = 3, /* turns the engine */
    WIRE_HAZARD_MOTION = 4, /* moves something that can trap or strike */
    WIRE_HAZARD_HEAT = 5, /* gets hot */
};

/* The state machine of the box. */
enum wire_box_state {
    WIRE_BOX_STATE_IDLE = 0, /* outputs off, ready */
    WIRE_BOX_STATE_DRIVING = 1, /* a pulse train, hold or sequence is running */
    WIRE_BOX_STATE_SENSING = 2, /* sense pulses, scan or watch */
    WIRE_BOX_STATE_STOPPED = 3, /* latched; only clear_stop leaves it */
};

/* Why the box stopped. */
enum wire_stop_reason {
    WIRE_STOP_REASON_NONE = 0, /* not stopped */
    WIRE_STOP_REASON_BOOT = 1, /* not stopped, but nothing has been said to the box since it started */
    WIRE_STOP_REASON_COMMAND = 2, /* a stop frame */
    WIRE_STOP_REASON_STOP_INPUT = 3, /* the hardware stop input */
    WIRE_STOP_REASON_HEARTBEAT = 4, /* no heartbeat */
    WIRE_STOP_REASON_SUPPLY = 5, /* supply lost or out of range */
    WIRE_STOP_REASON_WATCHDOG = 6, /* the box found itself hung */
    WIRE_STOP_REASON_DRIVER_ON = 7, /* a driver that is off conducts; tripped_mask names its channel */
    WIRE_STOP_REASON_CURRENT_PATH = 8, /* a current reading is dead; tripped_mask names its channel */
    WIRE_STOP_REASON_TIMER = 9, /* a timer of the box stands still, or an edge did not come */
    WIRE_STOP_REASON_CONVERTER = 10, /* no current was read while a channel was on */
};

/* Why a drive ended. */
enum wire_end_reason {
    WIRE_END_REASON_COMPLETE = 0, /* all pulses or the whole time delivered */
    WIRE_END_REASON_CANCELLED = 1, /* cancel */
    WIRE_END_REASON_STOPPED = 2, /* the box stopped */
    WIRE_END_REASON_TRIPPED = 3, /* over-current */
    WIRE_END_REASON_DISARMED = 4, /* the arm token expired or was dropped */
};

/* Why a hazard class lost its arming. */
enum wire_disarm_reason {
    WIRE_DISARM_REASON_ASKED = 0, /* disarm */
    WIRE_DISARM_REASON_EXPIRED = 1, /* its time ran out */
    WIRE_DISARM_REASON_STOPPED = 2, /* the box stopped */
    WIRE_DISARM_REASON_RECONFIGURED = 3, /* a channel was configured */
    WIRE_DISARM_REASON_PUMP_DRIVEN = 4, /* a channel marked as the fuel pump was driven */
    WIRE_DISARM_REASON_NEW_SESSION = 5, /* another hello */
    WIRE_DISARM_REASON_SUPPLY_LOST = 6, /* the supply went away */
};

/* Why a request was not carried out. */
enum wire_refusal {
    WIRE_REFUSAL_UNKNOWN_MESSAGE = 1, /* the box does not know this message */
    WIRE_REFUSAL_BAD_VERSION = 2, /* another major protocol version */
    WIRE_REFUSAL_NO_SESSION = 3, /* no hello yet */
    WIRE_REFUSAL_OUT_OF_RANGE = 4, /* a field is outside its declared range; detail is its index */
    WIRE_REFUSAL_NO_SUCH_CHANNEL = 5, /* the box has no such channel */
    WIRE_REFUSAL_WRONG_KIND = 6, /* the channel's driver cannot do this */
    WIRE_REFUSAL_NOT_CONFIGURED = 7, /* the channel has no configuration */
    WIRE_REFUSAL_STOPPED = 8, /* the box is stopped */
    WIRE_REFUSAL_STOP_INPUT_OPEN = 9, /* the hardware stop input is open */
    WIRE_REFUSAL_NOT_ARMED = 10, /* the channel's hazard class is not armed; detail is the class */
    WIRE_REFUSAL_BUSY = 11, /* another channel is being driven; detail is it */
    WIRE_REFUSAL_OVER_ON_TIME = 12, /* on-time over the ceiling; detail is the ceiling in us */
    WIRE_REFUSAL_OVER_DUTY = 13, /* duty over the ceiling; detail is the ceiling in permille */
    WIRE_REFUSAL_OVER_COUNT = 14, /* count over the ceiling; detail is the ceiling */
    WIRE_REFUSAL_OVER_CURRENT_LIMIT = 15, /* current limit over the ceiling; detail is the ceiling in mA */
    WIRE_REFUSAL_TRIPPED = 16, /* the channel tripped on over-current and is latched */
    WIRE_REFUSAL_SUPPLY_OUT_OF_RANGE = 17, /* supply missing, too low or too high; detail is mV */
    WIRE_REFUSAL_NO_TRACE = 18, /* no such trace is held */
    WIRE_REFUSAL_NO_HEARTBEAT = 19, /* no heartbeat yet in this session */
    WIRE_REFUSAL_PUMP_CHANNEL = 20, /* fuel cannot be armed while a fuel pump channel is driven */
    WIRE_REFUSAL_RESTING = 21, /* the channel still owes rest for its last drive; detail is the ms left */
};

enum wire_kind {
    WIRE_KIND_HELLO = 0x01,
    WIRE_KIND_GET_CHANNEL = 0x02,
    WIRE_KIND_CONFIGURE = 0x03,
    WIRE_KIND_GET_CONFIG = 0x04,
    WIRE_KIND_GET_DIGEST = 0x05,
    WIRE_KIND_ARM = 0x06,
    WIRE_KIND_DISARM = 0x07,
    WIRE_KIND_STOP = 0x08,
    WIRE_KIND_CLEAR_STOP = 0x09,
    WIRE_KIND_HEARTBEAT = 0x0A,
    WIRE_KIND_GET_STATUS = 0x0B,
    WIRE_KIND_DRIVE_TRAIN = 0x10,
    WIRE_KIND_DRIVE_HOLD = 0x11,
    WIRE_KIND_DRIVE_PEAK_HOLD = 0x12,
    WIRE_KIND_DRIVE_STEPPER = 0x13,
    WIRE_KIND_DRIVE_BRIDGE = 0x14,
    WIRE_KIND_CANCEL = 0x15,
    WIRE_KIND_SENSE = 0x18,
    WIRE_KIND_SCAN = 0x19,
    WIRE_KIND_WATCH = 0x1B,
    WIRE_KIND_READ_TRACE = 0x20,
    WIRE_KIND_ACK = 0x40,
    WIRE_KIND_REFUSED = 0x41,
    WIRE_KIND_IDENTITY = 0x42,
    WIRE_KIND_CHANNEL_INFO = 0x43,
    WIRE_KIND_CHANNEL_CONFIG = 0x44,
    WIRE_KIND_DIGEST = 0x45,
    WIRE_KIND_STATUS = 0x46,
    WIRE_KIND_SCAN_RESULT = 0x47,
    WIRE_KIND_TRACE_CHUNK = 0x48,
    WIRE_KIND_TELEMETRY = 0x80,
    WIRE_KIND_TRIP = 0x81,
    WIRE_KIND_STOPPED = 0x82,
    WIRE_KIND_DRIVE_ENDED = 0x83,
    WIRE_KIND_TRACE_READY = 0x84,
    WIRE_KIND_DROPOUT = 0x85,
    WIRE_KIND_SUPPLY_EVENT = 0x86,
    WIRE_KIND_DISARMED = 0x87,
};

enum wire_layout_index {
    WIRE_LAYOUT_HELLO,
    WIRE_LAYOUT_GET_CHANNEL,
    WIRE_LAYOUT_CONFIGURE,
    WIRE_LAYOUT_GET_CONFIG,
    WIRE_LAYOUT_ARM,
    WIRE_LAYOUT_DISARM,
    WIRE_LAYOUT_HEARTBEAT,
    WIRE_LAYOUT_DRIVE_TRAIN,
    WIRE_LAYOUT_DRIVE_HOLD,
    WIRE_LAYOUT_DRIVE_PEAK_HOLD,
    WIRE_LAYOUT_DRIVE_STEPPER,
    WIRE_LAYOUT_DRIVE_BRIDGE,
    WIRE_LAYOUT_SENSE,
    WIRE_LAYOUT_SCAN,
    WIRE_LAYOUT_WATCH,
    WIRE_LAYOUT_READ_TRACE,
    WIRE_LAYOUT_ACK,
    WIRE_LAYOUT_REFUSED,
    WIRE_LAYOUT_IDENTITY,
    WIRE_LAYOUT_CHANNEL_INFO,
    WIRE_LAYOUT_CHANNEL_CONFIG,
    WIRE_LAYOUT_DIGEST,
    WIRE_LAYOUT_STATUS,
    WIRE_LAYOUT_SCAN_RESULT,
    WIRE_LAYOUT_TRACE_CHUNK,
    WIRE_LAYOUT_TELEMETRY,
    WIRE_LAYOUT_TRIP,
    WIRE_LAYOUT_STOPPED,
    WIRE_LAYOUT_DRIVE_ENDED,
    WIRE_LAYOUT_TRACE_READY,
    WIRE_LAYOUT_DROPOUT,
    WIRE_LAYOUT_SUPPLY_EVENT,
    WIRE_LAYOUT_DISARMED,
};

/* Opens a session: all outputs off, everything disarmed, sequence numbers start from this frame's. Does not clear a
 * stop. */
#define WIRE_HELLO_BYTES 10U

#define WIRE_HELLO_FIELD_PROTOCOL_MAJOR 0U
#define WIRE_HELLO_FIELD_PROTOCOL_MINOR 1U
#define WIRE_HELLO_FIELD_SESSION 2U
#define WIRE_HELLO_FIELD_SPEC_HASH 3U
struct wire_hello {
    uint8_t protocol_major;
    uint8_t protocol_minor;
    uint32_t session; /* random; a repeat of the same number is a retry */
    uint32_t spec_hash; /* CRC-32 of wire.toml as the console knows it */
};

/* What one channel is, its ceilings and its calibration. */
#define WIRE_GET_CHANNEL_BYTES 1U

#define WIRE_GET_CHANNEL_FIELD_CHANNEL 0U
struct wire_get_channel {
    uint8_t channel;
};

/* Says what hangs on a channel. Clears its trip latch, drops every arming. Limits may only lower the ceilings. */
#define WIRE_CONFIGURE_BYTES 18U

#define WIRE_CONFIGURE_FIELD_CHANNEL 0U
#define WIRE_CONFIGURE_FIELD_LOAD_CLASS 1U
#define WIRE_CONFIGURE_FIELD_HAZARD 2U
#define WIRE_CONFIGURE_FIELD_FUEL_PUMP 3U
#define WIRE_CONFIGURE_FIELD_MAX_ON_TIME_US 4U
#define WIRE_CONFIGURE_FIELD_MAX_HOLD_MS 5U
#define WIRE_CONFIGURE_FIELD_MAX_DUTY_PERMILLE 6U
#define WIRE_CONFIGURE_FIELD_MAX_COUNT 7U
#define WIRE_CONFIGURE_FIELD_MAX_CURRENT_MA 8U
#define WIRE_CONFIGURE_FIELD_MAX_SENSE_US 9U
struct wire_configure {
    uint8_t channel;
    uint8_t load_class; /* enum wire_load_class */
    uint8_t hazard; /* enum wire_hazard */
    uint8_t fuel_pump; /* 1: driving this channel drops the arming of fuel */
    uint32_t max_on_time_us; /* us */
    uint16_t max_hold_ms; /* ms 0: may not be held */
    uint16_t max_duty_permille;
    uint16_t max_count;
    uint16_t max_current_ma; /* mA */
    uint16_t max_sense_us; /* us 0: no sense pulse on this channel */
};

/* Reads a channel's configuration back. */
#define WIRE_GET_CONFIG_BYTES 1U

#define WIRE_GET_CONFIG_FIELD_CHANNEL 0U
struct wire_get_config {
    uint8_t channel;
};

/* CRC-32 over the channel_config bodies of all the box's channels, in channel order. */
#define WIRE_GET_DIGEST_BYTES 0U

/* Arms one hazard class for a bounded time. Refused while stopped, before a heartbeat, and for `none`. */
#define WIRE_ARM_BYTES 3U

#define WIRE_ARM_FIELD_HAZARD 0U
#define WIRE_ARM_FIELD_DURATION_MS 1U
struct wire_arm {
    uint8_t hazard; /* enum wire_hazard */
    uint16_t duration_ms; /* ms */
};

/* Drops the arming of one class, or of all with `none`; a drive that needed it ends. */
#define WIRE_DISARM_BYTES 1U

#define WIRE_DISARM_FIELD_HAZARD 0U
struct wire_disarm {
    uint8_t hazard; /* enum wire_hazard */
};

/* Outputs off before the reply is sent; latched. Obeyed with any sequence number, with or without a session. */
#define WIRE_STOP_BYTES 0U

/* Leaves `stopped`. Refused while the stop input is open or the supply is out of range. Re-arms nothing. */
#define WIRE_CLEAR_STOP_BYTES 0U

/* Keeps the box live; not answered. Counts only for the session it names. */
#define WIRE_HEARTBEAT_BYTES 4U

#define WIRE_HEARTBEAT_FIELD_SESSION 0U
struct wire_heartbeat {
    uint32_t session;
};

/* The same body as telemetry, at once. */
#define WIRE_GET_STATUS_BYTES 0U

/* A pulse train on one channel. Ends with drive_ended; traced pulses announce themselves with trace_ready. */
#define WIRE_DRIVE_TRAIN_BYTES 16U

#define WIRE_DRIVE_TRAIN_FIELD_CHANNEL 0U
#define WIRE_DRIVE_TRAIN_FIELD_COUNT 1U
#define WIRE_DRIVE_TRAIN_FIELD_PERIOD_US 2U
#define WIRE_DRIVE_TRAIN_FIELD_ON_TIME_US 3U
#define WIRE_DRIVE_TRAIN_FIELD_TRACE_EVERY 4U
#define WIRE_DRIVE_TRAIN_FIELD_TRACE_DECIMATION 5U
#define WIRE_DRIVE_TRAIN_FIELD_TRACE_SAMPLES 6U
struct wire_drive_train {
    uint8_t channel;
    uint16_t count;
    uint32_t period_us; /* us */
    uint32_t on_time_us; /* us */
    uint16_t trace_every; /* 0: none; n: the first pulse and every n-th after it */
    uint8_t trace_decimation; /* keep every n-th sample set */
    uint16_t trace_samples;
};

/* Switches one channel on for a bounded time. */
#define WIRE_DRIVE_HOLD_BYTES 6U

#define WIRE_DRIVE_HOLD_FIELD_CHANNEL 0U
#define WIRE_DRIVE_HOLD_FIELD_DURATION_MS 1U
#define WIRE_DRIVE_HOLD_FIELD_TRACE_DECIMATION 2U
#define WIRE_DRIVE_HOLD_FIELD_TRACE_SAMPLES 3U
struct wire_drive_hold {
    uint8_t channel;
    uint16_t duration_ms; /* ms */
    uint8_t trace_decimation;
    uint16_t trace_samples;
};

/* For low-resistance injectors: full on for peak_us, then chopped until on_time_us. The chopping counts towards nothing
 * but the total on-time. */
#define WIRE_DRIVE_PEAK_HOLD_BYTES 24U

#define WIRE_DRIVE_PEAK_HOLD_FIELD_CHANNEL 0U
#define WIRE_DRIVE_PEAK_HOLD_FIELD_COUNT 1U
#define WIRE_DRIVE_PEAK_HOLD_FIELD_PERIOD_US 2U
#define WIRE_DRIVE_PEAK_HOLD_FIELD_ON_TIME_US 3U
#define WIRE_DRIVE_PEAK_HOLD_FIELD_PEAK_US 4U
#define WIRE_DRIVE_PEAK_HOLD_FIELD_CHOP_PERIOD_US 5U
#define WIRE_DRIVE_PEAK_HOLD_FIELD_CHOP_DUTY_PERMILLE 6U
#define WIRE_DRIVE_PEAK_HOLD_FIELD_TRACE_EVERY 7U
#define WIRE_DRIVE_PEAK_HOLD_FIELD_TRACE_DECIMATION 8U
#define WIRE_DRIVE_PEAK_HOLD_FIELD_TRACE_SAMPLES 9U
struct wire_drive_peak_hold {
    uint8_t channel;
    uint16_t count;
    uint32_t period_us; /* us */
    uint32_t on_time_us; /* us */
    uint32_t peak_us; /* us */
    uint16_t chop_period_us; /* us */
    uint16_t chop_duty_permille;
    uint16_t trace_every;
    uint8_t trace_decimation;
    uint16_t trace_samples;
};

/* A four-channel stepper sequence, one winding at a time (wave drive). Negative steps run backwards. */
#define WIRE_DRIVE_STEPPER_BYTES 10U

#define WIRE_DRIVE_STEPPER_FIELD_CHANNELS 0U
#define WIRE_DRIVE_STEPPER_FIELD_STEPS 1U
#define WIRE_DRIVE_STEPPER_FIELD_STEP_US 2U
struct wire_drive_stepper {
    uint8_t channels[4];
    int16_t steps;
    uint32_t step_us; /* us */
};

/* A half-bridge pair: one side chopped to the supply, the other held to ground. */
#define WIRE_DRIVE_BRIDGE_BYTES 11U

#define WIRE_DRIVE_BRIDGE_FIELD_CHANNEL_SUPPLY 0U
#define WIRE_DRIVE_BRIDGE_FIELD_CHANNEL_GROUND 1U
#define WIRE_DRIVE_BRIDGE_FIELD_DURATION_MS 2U
#define WIRE_DRIVE_BRIDGE_FIELD_CHOP_PERIOD_US 3U
#define WIRE_DRIVE_BRIDGE_FIELD_DUTY_PERMILLE 4U
#define WIRE_DRIVE_BRIDGE_FIELD_TRACE_DECIMATION 5U
#define WIRE_DRIVE_BRIDGE_FIELD_TRACE_SAMPLES 6U
struct wire_drive_bridge {
    uint8_t channel_supply;
    uint8_t channel_ground;
    uint16_t duration_ms; /* ms */
    uint16_t chop_period_us; /* us */
    uint16_t duty_permille;
    uint8_t trace_decimation;
    uint16_t trace_samples;
};

/* Ends whatever is driven or sensed, without latching. */
#define WIRE_CANCEL_BYTES 0U

/* One sense pulse on one channel, too short to move or spark anything; needs no arming. The trace follows as
 * trace_ready. */
#define WIRE_SENSE_BYTES 5U

#define WIRE_SENSE_FIELD_CHANNEL 0U
#define WIRE_SENSE_FIELD_ON_TIME_US 1U
#define WIRE_SENSE_FIELD_TRACE_SAMPLES 2U
struct wire_sense {
    uint8_t channel;
    uint16_t on_time_us; /* us */
    uint16_t trace_samples;
};

/* Resting drain voltage, then one sense pulse where allowed, on every channel of the mask. */
#define WIRE_SCAN_BYTES 4U

#define WIRE_SCAN_FIELD_MASK 0U
#define WIRE_SCAN_FIELD_ON_TIME_US 1U
struct wire_scan {
    uint16_t mask; /* bit 0 is channel 1 */
    uint16_t on_time_us; /* us 0: drain voltages only; capped by each channel's max_sense_us */
};

/* Holds (or senses) one channel and reports every dropout until its time is up or cancel. A held watch needs the
 * channel's arming. */
#define WIRE_WATCH_BYTES 10U

#define WIRE_WATCH_FIELD_CHANNEL 0U
#define WIRE_WATCH_FIELD_HELD 1U
#define WIRE_WATCH_FIELD_DURATION_MS 2U
#define WIRE_WATCH_FIELD_SAMPLE_HZ 3U
#define WIRE_WATCH_FIELD_DEPTH_PERMILLE 4U
struct wire_watch {
    uint8_t channel;
    uint8_t held; /* 1: the load is held on, its current watched; 0: the distance of the resting drain from its bias */
    uint32_t duration_ms; /* ms */
    uint16_t sample_hz; /* Hz */
    uint16_t depth_permille; /* a dropout is a fall by this much of the settled value */
};

/* One chunk of a held trace. The reader asks for each, so a slow reader cannot overrun the box. */
#define WIRE_READ_TRACE_BYTES 4U

#define WIRE_READ_TRACE_FIELD_TRACE_ID 0U
#define WIRE_READ_TRACE_FIELD_FIRST_SAMPLE 1U
struct wire_read_trace {
    uint16_t trace_id;
    uint16_t first_sample;
};

/* Done (or begun, for a drive). */
#define WIRE_ACK_BYTES 1U

#define WIRE_ACK_FIELD_REQUEST_KIND 0U
struct wire_ack {
    uint8_t request_kind;
};

/* Not done, and why. */
#define WIRE_REFUSED_BYTES 6U

#define WIRE_REFUSED_FIELD_REQUEST_KIND 0U
#define WIRE_REFUSED_FIELD_REASON 1U
#define WIRE_REFUSED_FIELD_DETAIL 2U
struct wire_refused {
    uint8_t request_kind;
    uint8_t reason; /* enum wire_refusal */
    uint32_t detail;
};

/* Who the box is and what it can do. */
#define WIRE_IDENTITY_BYTES 85U

#define WIRE_IDENTITY_FIELD_PROTOCOL_MAJOR 0U
#define WIRE_IDENTITY_FIELD_PROTOCOL_MINOR 1U
#define WIRE_IDENTITY_FIELD_SPEC_HASH 2U
#define WIRE_IDENTITY_FIELD_FIRMWARE_VERSION 3U
#define WIRE_IDENTITY_FIELD_BUILD_HASH 4U
#define WIRE_IDENTITY_FIELD_BOARD 5U
#define WIRE_IDENTITY_FIELD_SERIAL_NUMBER 6U
#define WIRE_IDENTITY_FIELD_SIMULATED 7U
#define WIRE_IDENTITY_FIELD_CHANNEL_COUNT 8U
#define WIRE_IDENTITY_FIELD_ADC_BITS 9U
#define WIRE_IDENTITY_FIELD_SAMPLE_PERIOD_NS 10U
#define WIRE_IDENTITY_FIELD_MAX_TRACE_SAMPLES 11U
#define WIRE_IDENTITY_FIELD_CALIBRATED_ON 12U
struct wire_identity {
    uint8_t protocol_major;
    uint8_t protocol_minor;
    uint32_t spec_hash;
    char firmware_version[16];
    uint32_t build_hash;
    char board[24];
    char serial_number[16];
    uint8_t simulated; /* 1: a simulated box; a record made with it says so */
    uint8_t channel_count;
    uint8_t adc_bits;
    uint32_t sample_period_ns; /* ns one sample set (both current ranges, supply, drain) */
    uint16_t max_trace_samples;
    char calibrated_on[10]; /* YYYY-MM-DD */
};

/* A channel's driver, its ceilings and how counts become amperes and volts: value = (counts - offset) * per_count. */
#define WIRE_CHANNEL_INFO_BYTES 50U

#define WIRE_CHANNEL_INFO_FIELD_CHANNEL 0U
#define WIRE_CHANNEL_INFO_FIELD_CHANNEL_KIND 1U
#define WIRE_CHANNEL_INFO_FIELD_MAX_ON_TIME_US 2U
#define WIRE_CHANNEL_INFO_FIELD_MAX_HOLD_MS 3U
#define WIRE_CHANNEL_INFO_FIELD_MAX_DUTY_PERMILLE 4U
#define WIRE_CHANNEL_INFO_FIELD_MAX_COUNT 5U
#define WIRE_CHANNEL_INFO_FIELD_MAX_CURRENT_MA 6U
#define WIRE_CHANNEL_INFO_FIELD_MAX_SENSE_US 7U
#define WIRE_CHANNEL_INFO_FIELD_WIDE_NA_PER_COUNT 8U
#define WIRE_CHANNEL_INFO_FIELD_WIDE_OFFSET_COUNTS_X100 9U
#define WIRE_CHANNEL_INFO_FIELD_FINE_NA_PER_COUNT 10U
#define WIRE_CHANNEL_INFO_FIELD_FINE_OFFSET_COUNTS_X100 11U
#define WIRE_CHANNEL_INFO_FIELD_SUPPLY_UV_PER_COUNT 12U
#define WIRE_CHANNEL_INFO_FIELD_DRAIN_UV_PER_COUNT 13U
#define WIRE_CHANNEL_INFO_FIELD_GAIN_UNCERTAINTY_PPM 14U
#define WIRE_CHANNEL_INFO_FIELD_NOISE_COUNTS_X100 15U
#define WIRE_CHANNEL_INFO_FIELD_BIAS_MV 16U
#define WIRE_CHANNEL_INFO_FIELD_BIAS_OHM 17U
#define WIRE_CHANNEL_INFO_FIELD_CLAMP_MV 18U
struct wire_channel_info {
    uint8_t channel;
    uint8_t channel_kind; /* enum wire_channel_kind */
    uint32_t max_on_time_us; /* us */
    uint16_t max_hold_ms; /* ms */
    uint16_t max_duty_permille;
    uint16_t max_count;
    uint16_t max_current_ma; /* mA */
    uint16_t max_sense_us; /* us */
    uint32_t wide_na_per_count; /* nA 20 A range */
    int16_t wide_offset_counts_x100;
    uint32_t fine_na_per_count; /* nA 2 A range */
    int16_t fine_offset_counts_x100;
    uint32_t supply_uv_per_count; /* uV */
    uint32_t drain_uv_per_count; /* uV */
    uint16_t gain_uncertainty_ppm; /* ppm standard uncertainty of the current scales */
    uint16_t noise_counts_x100; /* standard deviation of one sample */
    uint16_t bias_mv; /* mV where an unconnected drain rests */
    uint32_t bias_ohm; /* ohm */
    uint32_t clamp_mv; /* mV drain voltage at which the driver clamps */
};

/* The configuration as the box holds it. A channel never configured has load class and hazard `none` and every limit 0.
 * */
#define WIRE_CHANNEL_CONFIG_BYTES 18U

#define WIRE_CHANNEL_CONFIG_FIELD_CHANNEL 0U
#define WIRE_CHANNEL_CONFIG_FIELD_LOAD_CLASS 1U
#define WIRE_CHANNEL_CONFIG_FIELD_HAZARD 2U
#define WIRE_CHANNEL_CONFIG_FIELD_FUEL_PUMP 3U
#define WIRE_CHANNEL_CONFIG_FIELD_MAX_ON_TIME_US 4U
#define WIRE_CHANNEL_CONFIG_FIELD_MAX_HOLD_MS 5U
#define WIRE_CHANNEL_CONFIG_FIELD_MAX_DUTY_PERMILLE 6U
#define WIRE_CHANNEL_CONFIG_FIELD_MAX_COUNT 7U
#define WIRE_CHANNEL_CONFIG_FIELD_MAX_CURRENT_MA 8U
#define WIRE_CHANNEL_CONFIG_FIELD_MAX_SENSE_US 9U
struct wire_channel_config {
    uint8_t channel;
    uint8_t load_class; /* enum wire_load_class */
    uint8_t hazard; /* enum wire_hazard */
    uint8_t fuel_pump;
    uint32_t max_on_time_us; /* us */
    uint16_t max_hold_ms; /* ms */
    uint16_t max_duty_permille;
    uint16_t max_count;
    uint16_t max_current_ma; /* mA */
    uint16_t max_sense_us; /* us */
};

/* See get_digest. */
#define WIRE_DIGEST_BYTES 4U

#define WIRE_DIGEST_FIELD_DIGEST 0U
struct wire_digest {
    uint32_t digest;
};

/* The state of the box. */
#define WIRE_STATUS_BYTES 32U

#define WIRE_STATUS_FIELD_UPTIME_MS 0U
#define WIRE_STATUS_FIELD_STATE 1U
#define WIRE_STATUS_FIELD_STOP_REASON 2U
#define WIRE_STATUS_FIELD_STOP_INPUT_OPEN 3U
#define WIRE_STATUS_FIELD_SUPPLY_MV 4U
#define WIRE_STATUS_FIELD_BOARD_TEMPERATURE_DC 5U
#define WIRE_STATUS_FIELD_DRIVING_CHANNEL 6U
#define WIRE_STATUS_FIELD_TRIPPED_MASK 7U
#define WIRE_STATUS_FIELD_ARMED_MASK 8U
#define WIRE_STATUS_FIELD_ARMED_LEFT_MS 9U
#define WIRE_STATUS_FIELD_FREE_TRACES 10U
#define WIRE_STATUS_FIELD_BAD_FRAMES 11U
#define WIRE_STATUS_FIELD_STALE_FRAMES 12U
#define WIRE_STATUS_FIELD_OVERRUNS 13U
struct wire_status {
    uint32_t uptime_ms; /* ms */
    uint8_t state; /* enum wire_box_state */
    uint8_t stop_reason; /* enum wire_stop_reason */
    uint8_t stop_input_open;
    uint16_t supply_mv; /* mV */
    int16_t board_temperature_dc; /* 0.1 degC */
    uint8_t driving_channel; /* 0: none */
    uint16_t tripped_mask;
    uint8_t armed_mask; /* bit n is hazard n */
    uint16_t armed_left_ms[5]; /* ms fuel, spark, crank, motion, heat */
    uint8_t free_traces;
    uint16_t bad_frames; /* saturates */
    uint16_t stale_frames; /* saturates */
    uint16_t overruns; /* saturates */
};

/* One value per channel, zero for channels outside the mask. */
#define WIRE_SCAN_RESULT_BYTES 104U

#define WIRE_SCAN_RESULT_FIELD_MASK 0U
#define WIRE_SCAN_RESULT_FIELD_SENSED_MASK 1U
#define WIRE_SCAN_RESULT_FIELD_ON_TIME_US 2U
#define WIRE_SCAN_RESULT_FIELD_SUPPLY_COUNTS 3U
#define WIRE_SCAN_RESULT_FIELD_DRAIN_COUNTS 4U
#define WIRE_SCAN_RESULT_FIELD_FINE_COUNTS 5U
#define WIRE_SCAN_RESULT_FIELD_WIDE_COUNTS 6U
struct wire_scan_result {
    uint16_t mask;
    uint16_t sensed_mask; /* channels that were given a pulse */
    uint16_t on_time_us; /* us as asked; each channel's own cap may be lower */
    uint16_t supply_counts;
    uint16_t drain_counts[16]; /* resting drain voltage */
    uint16_t fine_counts[16]; /* 2 A range at the end of the sense pulse */
    uint16_t wide_counts[16]; /* 20 A range at the end of the sense pulse */
};

/* Sample sets of a trace, eight bytes each: fine, wide, supply and drain counts as u16. */
#define WIRE_TRACE_CHUNK_BYTES 4U /* and the open-ended field */

#define WIRE_TRACE_CHUNK_FIELD_TRACE_ID 0U
#define WIRE_TRACE_CHUNK_FIELD_FIRST_SAMPLE 1U
#define WIRE_TRACE_CHUNK_FIELD_SAMPLES 2U
struct wire_trace_chunk {
    uint16_t trace_id;
    uint16_t first_sample;
    uint16_t samples_size;
    uint8_t samples[200];
};

/* The state of the box, every telemetry period while a session is open. */
#define WIRE_TELEMETRY_BYTES 32U

#define WIRE_TELEMETRY_FIELD_UPTIME_MS 0U
#define WIRE_TELEMETRY_FIELD_STATE 1U
#define WIRE_TELEMETRY_FIELD_STOP_REASON 2U
#define WIRE_TELEMETRY_FIELD_STOP_INPUT_OPEN 3U
#define WIRE_TELEMETRY_FIELD_SUPPLY_MV 4U
#define WIRE_TELEMETRY_FIELD_BOARD_TEMPERATURE_DC 5U
#define WIRE_TELEMETRY_FIELD_DRIVING_CHANNEL 6U
#define WIRE_TELEMETRY_FIELD_TRIPPED_MASK 7U
#define WIRE_TELEMETRY_FIELD_ARMED_MASK 8U
#define WIRE_TELEMETRY_FIELD_ARMED_LEFT_MS 9U
#define WIRE_TELEMETRY_FIELD_FREE_TRACES 10U
#define WIRE_TELEMETRY_FIELD_BAD_FRAMES 11U
#define WIRE_TELEMETRY_FIELD_STALE_FRAMES 12U
#define WIRE_TELEMETRY_FIELD_OVERRUNS 13U
struct wire_telemetry {
    uint32_t uptime_ms; /* ms */
    uint8_t state; /* enum wire_box_state */
    uint8_t stop_reason; /* enum wire_stop_reason */
    uint8_t stop_input_open;
    uint16_t supply_mv; /* mV */
    int16_t board_temperature_dc; /* 0.1 degC */
    uint8_t driving_channel; /* 0: none */
    uint16_t tripped_mask;
    uint8_t armed_mask; /* bit n is hazard n */
    uint16_t armed_left_ms[5]; /* ms fuel, spark, crank, motion, heat */
    uint8_t free_traces;
    uint16_t bad_frames; /* saturates */
    uint16_t stale_frames; /* saturates */
    uint16_t overruns; /* saturates */
};

/* A channel went over its current limit and is latched off. */
#define WIRE_TRIP_BYTES 3U

#define WIRE_TRIP_FIELD_CHANNEL 0U
#define WIRE_TRIP_FIELD_CURRENT_MA 1U
struct wire_trip {
    uint8_t channel;
    uint16_t current_ma; /* mA */
};

/* The box stopped. */
#define WIRE_STOPPED_BYTES 1U

#define WIRE_STOPPED_FIELD_REASON 0U
struct wire_stopped {
    uint8_t reason; /* enum wire_stop_reason */
};

/* A drive, sense or watch is over. */
#define WIRE_DRIVE_ENDED_BYTES 4U

#define WIRE_DRIVE_ENDED_FIELD_CHANNEL 0U
#define WIRE_DRIVE_ENDED_FIELD_PULSES 1U
#define WIRE_DRIVE_ENDED_FIELD_REASON 2U
struct wire_drive_ended {
    uint8_t channel;
    uint16_t pulses; /* pulses delivered in full */
    uint8_t reason; /* enum wire_end_reason */
};

/* A trace is held under this number until newer ones push it out. */
#define WIRE_TRACE_READY_BYTES 25U

#define WIRE_TRACE_READY_FIELD_TRACE_ID 0U
#define WIRE_TRACE_READY_FIELD_CHANNEL 1U
#define WIRE_TRACE_READY_FIELD_PULSE_INDEX 2U
#define WIRE_TRACE_READY_FIELD_SAMPLE_COUNT 3U
#define WIRE_TRACE_READY_FIELD_SAMPLE_PERIOD_NS 4U
#define WIRE_TRACE_READY_FIELD_ON_TIME_US 5U
#define WIRE_TRACE_READY_FIELD_FIRST_SAMPLE_NS 6U
#define WIRE_TRACE_READY_FIELD_SUPPLY_SKEW_NS 7U
#define WIRE_TRACE_READY_FIELD_DRAIN_SKEW_NS 8U
#define WIRE_TRACE_READY_FIELD_TRUNCATED 9U
#define WIRE_TRACE_READY_FIELD_TRIPPED 10U
struct wire_trace_ready {
    uint16_t trace_id;
    uint8_t channel;
    uint16_t pulse_index; /* 0 is the first */
    uint16_t sample_count;
    uint32_t sample_period_ns; /* ns after decimation */
    uint32_t on_time_us; /* us as delivered */
    int32_t first_sample_ns; /* ns of the current ranges, from the switch-on edge */
    int16_t supply_skew_ns; /* ns supply sample after the current sample */
    int16_t drain_skew_ns; /* ns drain sample after the current sample */
    uint8_t truncated; /* 1: the pulse was longer than the trace */
    uint8_t tripped;
};

/* A watched load let go and came back (or was still away when the watch ended). */
#define WIRE_DROPOUT_BYTES 11U

#define WIRE_DROPOUT_FIELD_CHANNEL 0U
#define WIRE_DROPOUT_FIELD_START_US 1U
#define WIRE_DROPOUT_FIELD_LENGTH_US 2U
#define WIRE_DROPOUT_FIELD_DEPTH_PERMILLE 3U
struct wire_dropout {
    uint8_t channel;
    uint32_t start_us; /* us from the start of the watch */
    uint32_t length_us; /* us */
    uint16_t depth_permille;
};

/* The supply went away or came back. */
#define WIRE_SUPPLY_EVENT_BYTES 3U

#define WIRE_SUPPLY_EVENT_FIELD_PRESENT 0U
#define WIRE_SUPPLY_EVENT_FIELD_SUPPLY_MV 1U
struct wire_supply_event {
    uint8_t present;
    uint16_t supply_mv; /* mV */
};

/* A hazard class lost its arming. */
#define WIRE_DISARMED_BYTES 2U

#define WIRE_DISARMED_FIELD_HAZARD 0U
#define WIRE_DISARMED_FIELD_REASON 1U
struct wire_disarmed {
    uint8_t hazard; /* enum wire_hazard */
    uint8_t reason; /* enum wire_disarm_reason */
};

#endif

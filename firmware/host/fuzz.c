/* SPDX-License-Identifier: MIT */
/* Bytes become a console, a bad line, time and hands: for libFuzzer, and for random.c where there is none. */
#include <stdint.h>
#include <string.h>

#include "hal.h"
#include "oracle.h"
#include "wire_messages_gen.h"

#define MAX_STEPS 64U

static const uint8_t nothing[1];
static const uint8_t *at;
static size_t left;

static uint8_t next(void)
{
    if (left == 0) {
        return 0;
    }
    left--;
    return *at++;
}

static uint32_t next_of(uint32_t count)
{
    return next() % count;
}

/* The last drive sent, to be sent again. */
static struct {
    uint8_t kind;
    uint16_t sequence;
    uint16_t size;
    uint8_t body[WIRE_MAX_BODY_BYTES];
} last;

static void send(uint8_t kind, const uint8_t *body, uint16_t size)
{
    if (kind >= WIRE_KIND_DRIVE_TRAIN && kind <= WIRE_KIND_WATCH && size > 0) {
        last.kind = kind;
        last.sequence = oracle_next_sequence();
        last.size = size;
        memcpy(last.body, body, size);
    }
    oracle_deliver(kind, oracle_next_sequence(), body, size);
}

static void beat(uint32_t session)
{
    uint8_t body[WIRE_HEARTBEAT_BYTES];
    wire_put_u32(body, session);
    oracle_deliver(WIRE_KIND_HEARTBEAT, 0, body, sizeof body);
}

static void hello(void)
{
    struct wire_hello hello = {.protocol_major = WIRE_PROTOCOL_MAJOR, .session = 1U + next_of(3)};
    uint8_t body[WIRE_HELLO_BYTES];
    send(WIRE_KIND_HELLO, body, wire_encode_hello(&hello, body));
}

static struct wire_configure configure(uint8_t channel)
{
    static const uint16_t holds_ms[] = {0, 20, 500, 10000};
    struct wire_configure c = {.channel = channel, .load_class = (uint8_t)next_of(10), .hazard = (uint8_t)next_of(6)};
    c.fuel_pump = next_of(8) == 0;
    c.max_on_time_us = 50U + 400U * next();
    c.max_hold_ms = holds_ms[next_of(4)];
    c.max_duty_permille = (uint16_t)(100U + next_of(9) * 100U);
    c.max_count = (uint16_t)(1U + next_of(40));
    c.max_current_ma = channel >= 13 && channel <= 14 ? 200 : (uint16_t)(1500U + 10U * next());
    c.max_sense_us = channel >= 15 ? 0 : (uint16_t)next_of(201);
    uint8_t body[WIRE_CONFIGURE_BYTES];
    send(WIRE_KIND_CONFIGURE, body, wire_encode_configure(&c, body));
    return c;
}

static void arm(uint8_t hazard)
{
    struct wire_arm arm = {.hazard = hazard, .duration_ms = (uint16_t)(100U + 10U * next())};
    uint8_t body[WIRE_ARM_BYTES];
    send(WIRE_KIND_ARM, body, wire_encode_arm(&arm, body));
}

static struct wire_drive_train any_train(uint8_t channel)
{
    struct wire_drive_train train = {channel,
                                     (uint16_t)(1U + next_of(44)),
                                     200U + 1000U * next(),
                                     50U + 400U * next_of(128),
                                     (uint16_t)next_of(4),
                                     (uint8_t)(1U + next_of(3)),
                                     (uint16_t)next_of(100)};
    return train;
}

static void drive(uint8_t channel)
{
    uint8_t body[WIRE_MAX_BODY_BYTES];
    struct wire_drive_train train = any_train(channel);
    struct wire_drive_hold hold = {channel, (uint16_t)(1U + 4U * next()), 1, (uint16_t)next_of(50)};
    struct wire_drive_peak_hold peak = {
        channel, 2, 20000, 3000, 500, (uint16_t)(40U + next()), (uint16_t)(50U + 3U * next()), 1, 1, 50};
    struct wire_drive_stepper step = {{1, 2, 3, 4}, (int16_t)((int)next_of(60) - 30), 1000U + 200U * next()};
    struct wire_drive_bridge bridge = {15, 16, (uint16_t)(1U + next()), 100, (uint16_t)(1U + 3U * next()), 1, 10};
    struct wire_sense sense = {channel, (uint16_t)(10U + next_of(191)), 20};
    struct wire_scan scan = {(uint16_t)(0xFFU | ((uint32_t)next() << 8)), (uint16_t)next_of(201)};
    struct wire_watch watch = {channel, (uint8_t)next_of(2), 1U + 4U * next(), 2000, 100};
    switch (next_of(10)) {
    case 0:
        send(WIRE_KIND_DRIVE_HOLD, body, wire_encode_drive_hold(&hold, body));
        break;
    case 1:
        send(WIRE_KIND_DRIVE_PEAK_HOLD, body, wire_encode_drive_peak_hold(&peak, body));
        break;
    case 2:
        send(WIRE_KIND_DRIVE_STEPPER, body, wire_encode_drive_stepper(&step, body));
        break;
    case 3:
        send(WIRE_KIND_DRIVE_BRIDGE, body, wire_encode_drive_bridge(&bridge, body));
        break;
    case 4:
        send(WIRE_KIND_SENSE, body, wire_encode_sense(&sense, body));
        break;
    case 5:
        send(WIRE_KIND_SCAN, body, wire_encode_scan(&scan, body));
        break;
    case 6:
        send(WIRE_KIND_WATCH, body, wire_encode_watch(&watch, body));
        break;
    default:
        send(WIRE_KIND_DRIVE_TRAIN, body, wire_encode_drive_train(&train, body));
        break;
    }
}

/* Arms what a load needs, mostly: a class that is missing, or one too many, must show. */
static void arm_for(struct wire_configure c)
{
    static const uint8_t bound[] = {
        0, WIRE_HAZARD_FUEL, WIRE_HAZARD_SPARK, WIRE_HAZARD_SPARK, 0, 0, 0, WIRE_HAZARD_MOTION, 0, 0};
    for (uint8_t hazard = 1; hazard <= WIRE_HAZARD_HEAT; hazard++) {
        bool needed = hazard == c.hazard || hazard == bound[c.load_class];
        if (next_of(8) == 0 ? !needed : needed) {
            arm(hazard);
        }
    }
}

/* Frames fill the queue while the main loop is busy; a stop comes after them, and is the last word. */
static void crowd(void)
{
    static const uint8_t kinds[] = {WIRE_KIND_CLEAR_STOP, WIRE_KIND_CANCEL, WIRE_KIND_GET_STATUS};
    uint8_t body[WIRE_ARM_BYTES];
    oracle_hold();
    for (uint32_t i = 1U + next_of(6); i > 0; i--) {
        struct wire_arm arm = {.hazard = (uint8_t)(1U + next_of(5)), .duration_ms = 5000};
        uint32_t what = next_of(5);
        if (what < sizeof kinds) {
            oracle_queue(kinds[what], nothing, 0);
        } else if (what == 3 || last.size == 0) {
            oracle_queue(WIRE_KIND_ARM, body, wire_encode_arm(&arm, body));
        } else {
            oracle_queue(last.kind, last.body, last.size);
        }
    }
    oracle_release_with_stop();
}

/* A console that does everything right before it drives, so that drives are reached at all. */
static void do_it_right(void)
{
    uint8_t channel = (uint8_t)(1U + next_of(16));
    if (oracle_session() == 0) {
        hello();
    }
    beat(oracle_session());
    send(WIRE_KIND_CANCEL, nothing, 0);
    send(WIRE_KIND_CLEAR_STOP, nothing, 0);
    arm_for(configure(channel));
    drive(channel);
}

static void any_frame(void)
{
    uint8_t body[WIRE_MAX_BODY_BYTES];
    uint8_t kind = next();
    uint16_t sequence = (uint16_t)(oracle_next_sequence() + (int8_t)next());
    uint16_t size = (uint16_t)next_of(WIRE_MAX_BODY_BYTES + 1U);
    for (uint16_t i = 0; i < size; i++) {
        body[i] = next();
    }
    oracle_deliver(kind, sequence, body, size);
}

static void noise(void)
{
    uint8_t bytes[32];
    size_t size = next_of(sizeof bytes);
    for (size_t i = 0; i < size; i++) {
        bytes[i] = next();
    }
    oracle_noise(bytes, size);
}

static void command(void)
{
    static const uint8_t kinds[] = {WIRE_KIND_STOP, WIRE_KIND_CLEAR_STOP, WIRE_KIND_CANCEL, WIRE_KIND_GET_STATUS};
    uint8_t hazard = (uint8_t)next_of(6);
    if (next_of(5) == 0) {
        send(WIRE_KIND_DISARM, &hazard, 1);
    } else {
        send(kinds[next_of(sizeof kinds)], nothing, 0);
    }
}

static void hands(void)
{
    uint8_t what = next();
    switch (what % 6U) {
    case 0:
        oracle_stop_input(true);
        break;
    case 1:
        oracle_stop_input(false);
        break;
    case 2:
        oracle_supply((what & 0x40U) != 0);
        break;
    case 3:
        oracle_supply(true);
        break;
    case 4:
        oracle_load((uint8_t)(1U + (what >> 4)), next_of(2) == 0);
        break;
    default:
        oracle_hang();
        break;
    }
}

static void wait(bool with_beats)
{
    uint32_t ticks = (1U + next()) * (HAL_TICKS_PER_MS / 4U);
    uint32_t stranger = next_of(8) == 0; /* heartbeats of another session */
    for (uint32_t i = 0; with_beats && i < 1U + ticks % 8U; i++) {
        beat(oracle_session() + stranger);
        oracle_wait(90U * HAL_TICKS_PER_MS);
    }
    oracle_wait(ticks + (next_of(8) == 0 ? 400U * HAL_TICKS_PER_MS : 0U));
}

static void again(void)
{
    if (last.size > 0) {
        oracle_deliver(last.kind, last.sequence, last.body, last.size);
    }
}

static void arm_any(void)
{
    arm((uint8_t)(1U + next_of(5)));
}

static void drive_any(void)
{
    drive((uint8_t)(1U + next_of(16)));
}

static void configure_any(void)
{
    (void)configure((uint8_t)(1U + next_of(16)));
}

static void wait_with_beats(void)
{
    wait(true);
}

static void wait_in_silence(void)
{
    wait(false);
}

static void step(void)
{
    static void (*const acts[])(void) = {
        hello,           command,       arm_any,     drive_any,   any_frame, noise, hands,       wait_with_beats,
        wait_in_silence, configure_any, do_it_right, do_it_right, again,     again, do_it_right, crowd,
    };
    acts[next_of(sizeof acts / sizeof acts[0])]();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    at = data;
    left = size;
    oracle_open();
    last.size = 0;
    for (unsigned i = 0; i < MAX_STEPS && left > 0; i++) {
        step();
    }
    oracle_wait(600U * HAL_TICKS_PER_MS); /* however it ends: silence is enough to have everything off */
    return 0;
}

/* SPDX-License-Identifier: MIT */
#include "oracle.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "hal.h"
#include "host.h"
#include "wire_messages_gen.h"

#define CHANNELS 16U
#define CLASSES 6U
#define MS HAL_TICKS_PER_MS
#define US HAL_TICKS_PER_US
#define GRACE (1U * MS) /* supervision looks once a millisecond */
#define OUT_BYTES 65536U
#define FRAME_BYTES 260U
#define JUDGED_EACH (MS / 2U)
#define TRIP_TICKS (60U * US) /* two sample sets and a little */
#define SHORT_OHM 0.05
#define SOUND_OHM 14.0

/* What the console may drive now: the channels of the last drive, sense, scan or watch that was acknowledged. */
struct permit {
    uint16_t channels;
    bool armed_only; /* its hazards must be armed */
    uint64_t longest_ticks; /* of one stretch on, by the channel's configuration */
    uint32_t most_pulses;
    uint64_t until; /* it is over by then */
};

static struct {
    struct wire_configure config[CHANNELS];
    bool configured[CHANNELS];
    uint64_t armed_until[CLASSES];
    uint32_t session;
    bool beaten;
    uint64_t beat;
    bool stopped;
    bool input_open;
    bool supply_bad;
    uint64_t hung_until; /* 0: runs */
    bool answered; /* a request was, in this session */
    uint16_t last_sequence;
    struct permit permit;
    struct permit candidate; /* of the request being delivered */
    bool tripped[CHANNELS]; /* reported, and not configured since */
    bool shorted[CHANNELS];
    uint64_t shorted_since[CHANNELS];
    uint64_t on_since[CHANNELS];
    uint8_t drive[CHANNELS];
    uint32_t pulses;
    bool acknowledged; /* the request being delivered was */
    bool refused;
    uint16_t awaited;
    uint8_t awaited_kind;
    uint64_t dangerous;
} o;

static void danger(const char *what, unsigned channel)
{
    fprintf(stderr, "DANGER at tick %llu, channel %u: %s\n", (unsigned long long)host_now(), channel, what);
    abort();
}

/* --- the rules -------------------------------------------------------------------------------------------------- */

static uint8_t hazards_of(unsigned channel)
{
    static const uint8_t bound[] = {
        0, WIRE_HAZARD_FUEL, WIRE_HAZARD_SPARK, WIRE_HAZARD_SPARK, 0, 0, 0, WIRE_HAZARD_MOTION, 0, 0};
    const struct wire_configure *c = &o.config[channel];
    uint8_t by_load = bound[c->load_class];
    if (c->load_class == WIRE_LOAD_CLASS_MOTOR && c->hazard == WIRE_HAZARD_CRANK) {
        by_load = WIRE_HAZARD_CRANK;
    }
    return (uint8_t)(((1U << c->hazard) | (1U << by_load)) & ~1U);
}

static void judge_arming(unsigned channel)
{
    uint8_t hazards = hazards_of(channel);
    for (unsigned hazard = 1; hazard < CLASSES; hazard++) {
        if ((hazards & (1U << hazard)) && host_now() >= o.armed_until[hazard] + GRACE) {
            danger("energised without its arming", channel + 1U);
        }
    }
}

static void judge_length(unsigned channel, const struct permit *permit)
{
    if (host_now() - o.on_since[channel] > permit->longest_ticks) {
        danger("on for too long", channel + 1U);
    }
}

static const struct permit *permit_now(void)
{
    return o.candidate.channels ? &o.candidate : &o.permit;
}

static void judge_permit(unsigned channel, const struct permit *permit)
{
    if (!(permit->channels & (1U << channel))) {
        danger("energised without having been asked for", channel + 1U);
    }
    if (permit->armed_only) {
        judge_arming(channel);
    }
    if (host_now() > permit->until + GRACE) {
        danger("energised after its drive", channel + 1U);
    }
    judge_length(channel, permit);
    if (o.pulses > permit->most_pulses) {
        danger("more pulses than allowed", channel + 1U);
    }
}

static void judge_box(unsigned channel)
{
    if (o.stopped) {
        danger("energised while stopped", channel + 1U);
    }
    if (o.supply_bad) {
        danger("energised without a good supply", channel + 1U);
    }
    if (!o.beaten || host_now() - o.beat > WIRE_HEARTBEAT_TIMEOUT_MS * MS + GRACE) {
        danger("energised without heartbeat", channel + 1U);
    }
}

static void judge_channel(unsigned channel)
{
    if (!o.configured[channel]) {
        danger("energised without a configuration", channel + 1U);
    }
    if (o.tripped[channel]) {
        danger("energised after it tripped", channel + 1U);
    }
    if (o.shorted[channel] && host_now() - o.shorted_since[channel] > TRIP_TICKS &&
        host_now() - o.on_since[channel] > TRIP_TICKS) {
        danger("over-current not cut off", channel + 1U);
    }
}

static void judge_on(unsigned channel)
{
    if (o.input_open) {
        danger("energised while the stop input is open", channel + 1U);
    }
    if (o.hung_until) {
        return; /* the program stands still: the watchdog ends it, judged below */
    }
    judge_box(channel);
    judge_channel(channel);
    judge_permit(channel, permit_now());
}

static void judge(void)
{
    unsigned on = 0;
    for (unsigned channel = 0; channel < CHANNELS; channel++) {
        if (o.drive[channel] != HAL_OFF) {
            judge_on(channel);
            on++;
        }
    }
    bool bridge = o.drive[CHANNELS - 1U] != HAL_OFF && o.drive[CHANNELS - 2U] != HAL_OFF;
    if (on > 1 && !(on == 2 && bridge)) {
        danger("several outputs at once", on);
    }
    if (on && o.hung_until && host_now() > o.hung_until) {
        danger("energised after the watchdog", 0);
    }
}

/* Called by the board for each change of an output. */
void oracle_switched(uint8_t channel, uint8_t drive);
void oracle_switched(uint8_t channel, uint8_t drive)
{
    unsigned index = channel - 1U;
    if (o.drive[index] != HAL_OFF && o.hung_until == 0) {
        judge_length(index, permit_now());
    }
    if (o.drive[index] == HAL_OFF && drive != HAL_OFF) {
        o.on_since[index] = host_now();
        o.pulses++;
        o.dangerous += hazards_of(index) != 0;
    }
    o.drive[index] = drive;
    if (drive != HAL_OFF) {
        judge();
    }
}

/* --- what was answered ------------------------------------------------------------------------------------------- */

static void void_arming(void)
{
    memset(o.armed_until, 0, sizeof o.armed_until);
}

/* The answer that is waited for. */
static void replied(uint8_t kind, const uint8_t *body)
{
    bool ack = kind == WIRE_KIND_ACK && body[0] == o.awaited_kind;
    bool other = kind != WIRE_KIND_ACK && kind != WIRE_KIND_REFUSED;
    o.acknowledged = o.acknowledged || ack || other;
    o.refused = o.refused || kind == WIRE_KIND_REFUSED;
    o.answered = true;
}

static void take_event(uint8_t kind, const uint8_t *body)
{
    if (kind == WIRE_KIND_STOPPED) {
        o.stopped = true;
        void_arming();
    } else if (kind == WIRE_KIND_TRIP) {
        o.tripped[body[0] - 1U] = true;
    } else if (kind == WIRE_KIND_DISARMED) {
        o.armed_until[body[0]] = 0;
    }
}

static void heard(uint8_t kind, uint16_t sequence, const uint8_t *body)
{
    if (kind >= WIRE_KIND_TELEMETRY) {
        take_event(kind, body);
    } else if (sequence == o.awaited) {
        replied(kind, body);
    }
}

static size_t unstuff(const uint8_t *in, size_t size, uint8_t *out)
{
    size_t length = 0;
    for (size_t at = 0; at < size;) {
        uint8_t group = in[at];
        at++;
        for (unsigned i = 1; i < group && at < size; i++) {
            out[length++] = in[at++];
        }
        if (group < 0xFFU && at < size) {
            out[length++] = 0;
        }
    }
    return length;
}

static void listen(void)
{
    static uint8_t bytes[OUT_BYTES];
    uint8_t raw[FRAME_BYTES];
    size_t size = host_take(bytes, sizeof bytes);
    size_t start = 0;
    for (size_t i = 0; i < size; i++) {
        if (bytes[i] != 0) {
            continue;
        }
        if (i - start >= FRAME_BYTES || unstuff(bytes + start, i - start, raw) < 7) {
            danger("sent what is no frame", 0);
        }
        heard(raw[0], wire_get_u16(raw + 1), raw + 3);
        start = i + 1;
    }
    struct host_switch ignored[64];
    while (host_take_switches(ignored, 64) > 0) {
    }
}

/* --- what is asked ------------------------------------------------------------------------------------------------ */

static void allow(struct permit *p, uint8_t channel, bool armed, uint64_t longest, uint32_t pulses, uint64_t length)
{
    p->channels = (uint16_t)(p->channels | (1U << (channel - 1U)));
    p->armed_only = armed;
    p->longest_ticks = longest;
    p->most_pulses = pulses;
    p->until = host_now() + length;
}

static const struct wire_configure *config_of(uint8_t channel)
{
    return &o.config[channel - 1U];
}

static uint64_t smaller(uint64_t a, uint64_t b)
{
    return a < b ? a : b;
}

/* --- the longest that a request may energise anything, by its own words and by the configuration --------------------
 */

static void permit_train(struct permit *p, const uint8_t *body, uint16_t size)
{
    struct wire_drive_train r;
    if (wire_decode_drive_train(body, size, &r) == WIRE_OK) {
        const struct wire_configure *c = config_of(r.channel);
        allow(p, r.channel, true, (uint64_t)US * smaller(c->max_on_time_us, r.on_time_us),
              (uint32_t)smaller(c->max_count, r.count), (uint64_t)r.count * r.period_us * US);
    }
}

static void permit_hold(struct permit *p, const uint8_t *body, uint16_t size)
{
    struct wire_drive_hold r;
    if (wire_decode_drive_hold(body, size, &r) == WIRE_OK) {
        uint64_t ms = smaller(config_of(r.channel)->max_hold_ms, r.duration_ms);
        allow(p, r.channel, true, ms * MS, 1, ms * MS);
    }
}

static void permit_peak_hold(struct permit *p, const uint8_t *body, uint16_t size)
{
    struct wire_drive_peak_hold r;
    if (wire_decode_drive_peak_hold(body, size, &r) == WIRE_OK) {
        uint64_t us = smaller(config_of(r.channel)->max_on_time_us, r.on_time_us);
        allow(p, r.channel, true, us * US, UINT32_MAX, (uint64_t)r.count * r.period_us * US);
    }
}

static void permit_stepper(struct permit *p, const uint8_t *body, uint16_t size)
{
    struct wire_drive_stepper r;
    if (wire_decode_drive_stepper(body, size, &r) != WIRE_OK) {
        return;
    }
    uint32_t steps = (uint32_t)abs(r.steps);
    for (unsigned i = 0; i < 4; i++) {
        const struct wire_configure *c = config_of(r.channels[i]);
        uint64_t us = smaller(c->max_on_time_us, r.step_us);
        allow(p, r.channels[i], true, us * US, (uint32_t)smaller(steps, c->max_count), (uint64_t)steps * us * US);
    }
}

static void permit_bridge(struct permit *p, const uint8_t *body, uint16_t size)
{
    struct wire_drive_bridge r;
    if (wire_decode_drive_bridge(body, size, &r) == WIRE_OK) {
        uint64_t ms = smaller(config_of(r.channel_supply)->max_hold_ms, r.duration_ms);
        ms = smaller(config_of(r.channel_ground)->max_hold_ms, ms);
        allow(p, r.channel_supply, true, ms * MS, 2, ms * MS);
        allow(p, r.channel_ground, true, ms * MS, 2, ms * MS);
    }
}

static void permit_sense(struct permit *p, const uint8_t *body, uint16_t size)
{
    struct wire_sense r;
    if (wire_decode_sense(body, size, &r) == WIRE_OK) {
        uint64_t us = smaller(config_of(r.channel)->max_sense_us, r.on_time_us);
        allow(p, r.channel, false, us * US, 1, us * US);
    }
}

static void permit_scan(struct permit *p, const uint8_t *body, uint16_t size)
{
    struct wire_scan r;
    if (wire_decode_scan(body, size, &r) != WIRE_OK || r.on_time_us == 0) {
        return;
    }
    for (uint8_t channel = 1; channel <= CHANNELS; channel++) {
        if ((r.mask & (1U << (channel - 1U))) && config_of(channel)->max_sense_us) {
            allow(p, channel, false, (uint64_t)US * r.on_time_us, CHANNELS, 20U * MS);
        }
    }
}

static void permit_watch(struct permit *p, const uint8_t *body, uint16_t size)
{
    struct wire_watch r;
    if (wire_decode_watch(body, size, &r) == WIRE_OK && r.held) {
        uint64_t ms = smaller(config_of(r.channel)->max_hold_ms, r.duration_ms);
        allow(p, r.channel, true, ms * MS, 1, ms * MS);
    }
}

static struct permit permit_of(uint8_t kind, const uint8_t *body, uint16_t size)
{
    static const struct {
        uint8_t kind;
        void (*permit)(struct permit *p, const uint8_t *body, uint16_t size);
    } rules[] = {
        {WIRE_KIND_DRIVE_TRAIN, permit_train},
        {WIRE_KIND_DRIVE_HOLD, permit_hold},
        {WIRE_KIND_DRIVE_PEAK_HOLD, permit_peak_hold},
        {WIRE_KIND_DRIVE_STEPPER, permit_stepper},
        {WIRE_KIND_DRIVE_BRIDGE, permit_bridge},
        {WIRE_KIND_SENSE, permit_sense},
        {WIRE_KIND_SCAN, permit_scan},
        {WIRE_KIND_WATCH, permit_watch},
    };
    struct permit p;
    memset(&p, 0, sizeof p);
    for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++) {
        if (rules[i].kind == kind) {
            rules[i].permit(&p, body, size);
        }
    }
    return p;
}

static bool is_new(uint16_t sequence)
{
    uint16_t ahead = (uint16_t)(sequence - o.last_sequence);
    return o.session != 0 && ahead != 0 && ahead < 0x8000U;
}

static void forget_session(void)
{
    void_arming();
    o.beaten = false;
    memset(&o.permit, 0, sizeof o.permit);
}

/* An acknowledged request takes effect. */
static void take_effect(uint8_t kind, const uint8_t *body, uint16_t size)
{
    struct wire_configure configure;
    struct wire_arm arm;
    if (kind == WIRE_KIND_CONFIGURE && wire_decode_configure(body, size, &configure) == WIRE_OK) {
        o.config[configure.channel - 1U] = configure;
        o.tripped[configure.channel - 1U] = false;
        o.configured[configure.channel - 1U] = configure.load_class != WIRE_LOAD_CLASS_NONE;
        void_arming();
    } else if (kind == WIRE_KIND_ARM && wire_decode_arm(body, size, &arm) == WIRE_OK) {
        o.armed_until[arm.hazard] = host_now() + (uint64_t)arm.duration_ms * MS;
    } else if (kind == WIRE_KIND_DISARM && body[0] == WIRE_HAZARD_NONE) {
        void_arming();
    } else if (kind == WIRE_KIND_DISARM) {
        o.armed_until[body[0]] = 0;
    } else if (kind == WIRE_KIND_CLEAR_STOP) {
        o.stopped = false;
    } else if (kind == WIRE_KIND_CANCEL) {
        memset(&o.permit, 0, sizeof o.permit);
    }
}

/* What acts whether or not it is answered: before the bytes arrive. */
static void act_at_once(uint8_t kind, const uint8_t *body, uint16_t size)
{
    struct wire_heartbeat beat;
    struct wire_hello hello;
    if (kind == WIRE_KIND_HEARTBEAT && wire_decode_heartbeat(body, size, &beat) == WIRE_OK && o.session != 0 &&
        beat.session == o.session) {
        o.beaten = true;
        o.beat = host_now();
    }
    if (kind == WIRE_KIND_HELLO && wire_decode_hello(body, size, &hello) == WIRE_OK &&
        hello.protocol_major == WIRE_PROTOCOL_MAJOR && hello.session != o.session) {
        o.session = hello.session;
        o.answered = true;
    }
}

static uint16_t stuffed(uint8_t kind, uint16_t sequence, const uint8_t *body, uint16_t size, uint8_t *out)
{
    uint8_t raw[FRAME_BYTES];
    uint32_t crc = 0xFFFFFFFFUL;
    uint16_t length = (uint16_t)(3U + size);
    raw[0] = kind;
    wire_put_u16(raw + 1, sequence);
    if (size > 0) {
        memcpy(raw + 3, body, size);
    }
    for (uint16_t i = 0; i < length; i++) {
        crc ^= raw[i];
        for (unsigned bit = 0; bit < 8; bit++) {
            crc = (crc >> 1) ^ (0xEDB88320UL & (0U - (crc & 1U)));
        }
    }
    wire_put_u32(raw + length, ~crc);
    length = (uint16_t)(length + 4U);
    uint16_t code = 0;
    uint16_t at = 1;
    uint8_t run = 1;
    for (uint16_t i = 0; i < length; i++) {
        if (raw[i] != 0) {
            out[at++] = raw[i];
            run++;
        }
        if (raw[i] == 0 || run == 0xFFU) {
            out[code] = run;
            run = 1;
            code = at++;
        }
    }
    out[code] = run;
    out[at++] = 0;
    return at;
}

static void after_the_bytes(uint8_t kind, uint16_t sequence, const uint8_t *body, uint16_t size, bool fresh)
{
    if (kind == WIRE_KIND_STOP && !o.hung_until) {
        uint16_t ahead = (uint16_t)(sequence - o.last_sequence);
        o.stopped = true;
        void_arming();
        if (o.session != 0 && ahead > 1U && ahead <= WIRE_MAX_STOP_AHEAD) {
            o.last_sequence = (uint16_t)(sequence - 1U);
        }
    }
    if (fresh) {
        o.last_sequence = sequence;
        if (o.acknowledged) {
            take_effect(kind, body, size);
        }
    }
    if (o.candidate.channels && !o.refused) {
        o.permit = o.candidate;
    }
    memset(&o.candidate, 0, sizeof o.candidate);
    judge();
}

static bool all_off(void)
{
    for (unsigned channel = 0; channel < CHANNELS; channel++) {
        if (o.drive[channel] != HAL_OFF) {
            return false;
        }
    }
    return true;
}

static void await(uint8_t kind, uint16_t sequence)
{
    o.acknowledged = false;
    o.refused = false;
    o.awaited = sequence;
    o.awaited_kind = kind;
    memset(&o.candidate, 0, sizeof o.candidate);
}

static void before_the_bytes(uint8_t kind, const uint8_t *body, uint16_t size, bool fresh)
{
    if (fresh && all_off()) { /* while an output is on, nothing else may begin */
        o.candidate = permit_of(kind, body, size);
        o.pulses = o.candidate.channels ? 0 : o.pulses;
    }
    act_at_once(kind, body, size);
}

void oracle_deliver(uint8_t kind, uint16_t sequence, const uint8_t *body, uint16_t size)
{
    uint8_t frame[FRAME_BYTES + 8U];
    uint32_t session = o.session;
    bool new_number = is_new(sequence);
    bool fresh = kind != WIRE_KIND_HELLO && kind != WIRE_KIND_STOP && kind != WIRE_KIND_HEARTBEAT && new_number;
    await(kind, sequence);
    if (o.hung_until == 0) {
        before_the_bytes(kind, body, size, fresh);
    }
    host_receive(frame, stuffed(kind, sequence, body, size, frame));
    listen();
    if (o.session != session) {
        forget_session();
        o.last_sequence = sequence;
    } else if (kind == WIRE_KIND_HELLO && new_number && o.acknowledged) {
        o.last_sequence = sequence; /* a hello again to the open session is a request like others */
    }
    if (o.hung_until == 0) {
        after_the_bytes(kind, sequence, body, size, fresh);
    }
}

void oracle_hold(void)
{
    host_hold(true);
}

static void put_in_queue(uint8_t kind, uint16_t sequence, const uint8_t *body, uint16_t size)
{
    uint8_t frame[FRAME_BYTES + 8U];
    host_receive(frame, stuffed(kind, sequence, body, size, frame));
}

void oracle_queue(uint8_t kind, const uint8_t *body, uint16_t size)
{
    o.last_sequence++;
    put_in_queue(kind, o.last_sequence, body, size);
}

void oracle_release_with_stop(void)
{
    uint16_t following = (uint16_t)(o.last_sequence + 1U);
    await(WIRE_KIND_STOP, following);
    put_in_queue(WIRE_KIND_STOP, following, NULL, 0);
    if (o.hung_until == 0) {
        o.stopped = true;
        void_arming();
        memset(&o.permit, 0, sizeof o.permit);
    }
    host_hold(false);
    oracle_wait(10U * MS);
}

void oracle_noise(const uint8_t *bytes, size_t size)
{
    static const uint8_t end = 0;
    host_receive(bytes, size);
    host_receive(&end, 1);
    listen();
    judge();
}

/* --- time and hands ------------------------------------------------------------------------------------------------
 */

static void rebooted(void)
{
    uint64_t dangerous = o.dangerous;
    bool input_open = o.input_open;
    bool supply_bad = o.supply_bad;
    uint8_t drive[CHANNELS];
    bool shorted[CHANNELS];
    memcpy(drive, o.drive, sizeof drive);
    memcpy(shorted, o.shorted, sizeof shorted);
    memset(&o, 0, sizeof o);
    memcpy(o.drive, drive, sizeof drive);
    memcpy(o.shorted, shorted, sizeof shorted);
    o.dangerous = dangerous;
    o.input_open = input_open;
    o.supply_bad = supply_bad;
    o.stopped = true;
}

void oracle_wait(uint32_t ticks)
{
    uint64_t end = host_now() + ticks;
    while (host_now() < end) {
        uint64_t next = smaller(host_now() + JUDGED_EACH, end);
        bool wakes = o.hung_until != 0 && next >= o.hung_until;
        host_advance(wakes ? o.hung_until : next);
        if (wakes) {
            rebooted();
        }
        listen();
        judge();
    }
}

void oracle_stop_input(bool open)
{
    host_stop_input(open);
    o.input_open = open;
    o.stopped = o.stopped || open;
    listen();
    judge();
}

void oracle_supply(bool good)
{
    host_supply(good ? 13.5 : 3.0);
    o.supply_bad = !good;
    o.stopped = o.stopped || !good;
    listen();
    judge();
}

void oracle_load(uint8_t channel, bool shorted)
{
    host_load(channel, shorted ? SHORT_OHM : SOUND_OHM, shorted ? 1e-9 : 14e-3);
    o.shorted[channel - 1U] = shorted;
    o.shorted_since[channel - 1U] = host_now();
}

void oracle_hang(void)
{
    host_hang();
    if (o.hung_until == 0) {
        o.hung_until = host_now() + 120U * MS;
    }
}

void oracle_open(void)
{
    memset(&o, 0, sizeof o);
    host_open(CHANNELS);
    listen();
}

uint32_t oracle_session(void)
{
    return o.session;
}

uint16_t oracle_next_sequence(void)
{
    return (uint16_t)(o.last_sequence + 1U);
}

uint64_t oracle_dangerous(void)
{
    return o.dangerous;
}

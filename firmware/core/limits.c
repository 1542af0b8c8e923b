/* SPDX-License-Identifier: MIT */
#include "limits.h"

#include <stddef.h>
#include <string.h>

#include "core_config.h"
#include "crc32.h"
#include "load_traits_gen.h"
#include "rom.h"
#include "wire_messages_gen.h"

#define US_PER_MS 1000U
#define PERMILLE 1000U
#define STEPPER_PERMILLE 250U /* one of four windings at a time */
#define LOGIC_MAX_CURRENT_MA 200U
#define HIGH_SUPPLY_MV 15000U
#define HIGH_SUPPLY_SENSE_US 80U
#define LEAST_SUPPLY_MV 1000U

enum { CLASS_ON_TIME, CLASS_HOLD, CLASS_DUTY, CLASS_CURRENT, CLASS_ENERGY, CLASS_CEILINGS };
#define MS_PER_STEP 100U
#define MA_PER_STEP 100U
#define PERMILLE_PER_PERCENT 10U

static const uint8_t class_ceilings[][CLASS_CEILINGS] ROM = LOAD_CEILINGS;

static const struct hal_board *board;
static struct wire_channel_config configs[CORE_CHANNELS];

void limits_reset(const struct hal_board *the_board)
{
    board = the_board;
    memset(configs, 0, sizeof configs);
    for (uint8_t i = 0; i < CORE_CHANNELS; i++) {
        configs[i].channel = (uint8_t)(i + 1U);
    }
}

uint8_t limits_channel_count(void)
{
    return board->channel_count;
}

uint8_t limits_kind_of(uint8_t channel)
{
    return board->channels[channel - 1U].kind;
}

struct ceilings limits_ceilings(uint8_t channel)
{
    struct ceilings c = {WIRE_MAX_ON_TIME_US, WIRE_MAX_HOLD_MS,    WIRE_MAX_DUTY_PERMILLE,
                         WIRE_MAX_COUNT,      WIRE_MAX_CURRENT_MA, WIRE_MAX_SENSE_US};
    if (limits_kind_of(channel) == WIRE_CHANNEL_KIND_LOGIC) {
        c.max_current_ma = LOGIC_MAX_CURRENT_MA;
    }
    if (limits_kind_of(channel) == WIRE_CHANNEL_KIND_HALF_BRIDGE) {
        c.max_sense_us = 0; /* no resting level to come from */
    }
    return c;
}

static uint16_t lower(uint16_t a, uint32_t b)
{
    return a < b ? a : (uint16_t)b;
}

/* Lower what the driver allows to what the load class does. */
static void lower_to_class(struct ceilings *c, const struct wire_configure *request)
{
    uint8_t row[CLASS_CEILINGS];
    rom_copy(row, class_ceilings[request->load_class], sizeof row);
    c->max_on_time_us = (uint32_t)row[CLASS_ON_TIME] * US_PER_MS;
    c->max_hold_ms = (uint16_t)(row[CLASS_HOLD] * MS_PER_STEP);
    c->max_duty_permille = (uint16_t)(row[CLASS_DUTY] * PERMILLE_PER_PERCENT);
    c->max_current_ma = lower(c->max_current_ma, row[CLASS_CURRENT] * MA_PER_STEP);
    if (row[CLASS_ENERGY] != 0) {
        uint32_t longest_us =
            (uint32_t)row[CLASS_ENERGY] * (uint32_t)LOAD_PULSE_US_MA_PER_10MJ / request->max_current_ma;
        c->max_on_time_us = longest_us < c->max_on_time_us ? longest_us : c->max_on_time_us;
    }
}

struct refusal limits_check_channel(uint8_t channel)
{
    struct refusal refusal = {REFUSAL_NONE, 0};
    if (channel < 1U || channel > board->channel_count) {
        refusal.reason = WIRE_REFUSAL_NO_SUCH_CHANNEL;
        refusal.detail = channel;
    }
    return refusal;
}

static uint8_t hazards_of(uint8_t load_class, uint8_t hazard)
{
    uint8_t mask = (uint8_t)((1U << hazard) | (1U << load_hazard(load_class, hazard)));
    return (uint8_t)(mask & ~(1U << WIRE_HAZARD_NONE));
}

static struct refusal over(uint8_t reason, uint32_t asked, uint32_t ceiling, uint32_t detail)
{
    struct refusal refusal = {asked > ceiling ? reason : (uint8_t)REFUSAL_NONE, asked > ceiling ? detail : 0};
    return refusal;
}

/* Ceilings after the on-time's, in the order of both structures, and how more is refused. */
enum { HOLD_PLACE, COUNT_OF_PLACES = 5 };
static const uint8_t place_reasons[COUNT_OF_PLACES] ROM = {
    WIRE_REFUSAL_OVER_ON_TIME,       WIRE_REFUSAL_OVER_DUTY,    WIRE_REFUSAL_OVER_COUNT,
    WIRE_REFUSAL_OVER_CURRENT_LIMIT, WIRE_REFUSAL_OVER_ON_TIME,
};

static uint16_t at_place(const void *structure, size_t first, uint8_t place)
{
    uint16_t value;
    memcpy(&value, (const uint8_t *)structure + first + place * sizeof value, sizeof value);
    return value;
}

static struct refusal over_ceilings(const struct wire_configure *r, const struct ceilings *c)
{
    struct refusal refusal = over(WIRE_REFUSAL_OVER_ON_TIME, r->max_on_time_us, c->max_on_time_us, c->max_on_time_us);
    for (uint8_t i = 0; refusal.reason == REFUSAL_NONE && i < COUNT_OF_PLACES; i++) {
        uint16_t asked = at_place(r, offsetof(struct wire_configure, max_hold_ms), i);
        uint16_t most = at_place(c, offsetof(struct ceilings, max_hold_ms), i);
        refusal = over(rom_u8(&place_reasons[i]), asked, most, i == HOLD_PLACE ? most * (uint32_t)US_PER_MS : most);
    }
    return refusal;
}

struct refusal limits_configure(const struct wire_configure *request)
{
    struct ceilings c = limits_ceilings(request->channel);
    lower_to_class(&c, request);
    struct refusal refusal = over_ceilings(request, &c);
    if (refusal.reason != REFUSAL_NONE) {
        return refusal;
    }
    if (request->fuel_pump && (hazards_of(request->load_class, request->hazard) & (1U << WIRE_HAZARD_FUEL))) {
        refusal.reason = WIRE_REFUSAL_PUMP_CHANNEL;
        refusal.detail = request->channel;
        return refusal;
    }
    _Static_assert(sizeof(struct wire_channel_config) == sizeof *request, "the same fields");
    memcpy(&configs[request->channel - 1U], request, sizeof *request);
    return refusal;
}

const struct wire_channel_config *limits_config(uint8_t channel)
{
    return &configs[channel - 1U];
}

uint32_t limits_digest(void)
{
    uint32_t crc = CRC32_START;
    uint8_t body[WIRE_CHANNEL_CONFIG_BYTES];
    for (uint8_t channel = 1; channel <= board->channel_count; channel++) {
        crc = crc32_bytes(crc, body, wire_encode_channel_config(limits_config(channel), body));
    }
    return ~crc & 0xFFFFFFFFUL;
}

uint8_t limits_hazards(uint8_t channel)
{
    const struct wire_channel_config *config = limits_config(channel);
    return hazards_of(config->load_class, config->hazard);
}

uint16_t limits_sense_cap_us(uint8_t channel, uint16_t supply_mv)
{
    const struct wire_channel_config *config = limits_config(channel);
    if (config->load_class == WIRE_LOAD_CLASS_NONE) {
        return 0;
    }
    uint16_t cap = config->max_sense_us;
    if (supply_mv > HIGH_SUPPLY_MV && cap > HIGH_SUPPLY_SENSE_US) {
        cap = HIGH_SUPPLY_SENSE_US;
    }
    if (load_sparks(config->load_class)) {
        uint16_t mv = supply_mv < LEAST_SUPPLY_MV ? (uint16_t)LEAST_SUPPLY_MV : supply_mv;
        uint16_t coil_cap = (uint16_t)(LOAD_SPARK_SENSE_US_MV / mv);
        cap = cap > coil_cap ? coil_cap : cap;
    }
    return cap;
}

struct refusal limits_check_pulses(uint8_t channel, uint16_t count, uint32_t period_us, uint32_t on_time_us)
{
    const struct wire_channel_config *c = limits_config(channel);
    struct refusal refusal = over(WIRE_REFUSAL_OVER_ON_TIME, on_time_us, c->max_on_time_us, c->max_on_time_us);
    if (refusal.reason == REFUSAL_NONE) {
        uint64_t on = (uint64_t)on_time_us * PERMILLE; /* periods reach 10 s: 32 bits are not enough */
        bool over_duty = on > (uint64_t)c->max_duty_permille * period_us;
        refusal = over(WIRE_REFUSAL_OVER_DUTY, over_duty, 0, c->max_duty_permille);
    }
    if (refusal.reason == REFUSAL_NONE) {
        refusal = over(WIRE_REFUSAL_OVER_COUNT, count, c->max_count, c->max_count);
    }
    return refusal;
}

struct refusal limits_check_hold(uint8_t channel, uint32_t duration_ms)
{
    uint32_t ceiling_ms = limits_config(channel)->max_hold_ms;
    return over(WIRE_REFUSAL_OVER_ON_TIME, duration_ms, ceiling_ms, ceiling_ms * US_PER_MS);
}

struct refusal limits_check_step(uint8_t channel, int16_t steps, uint32_t step_us)
{
    const struct wire_channel_config *c = limits_config(channel);
    uint16_t either_way = (uint16_t)(steps < 0 ? -steps : steps);
    struct refusal refusal = over(WIRE_REFUSAL_OVER_ON_TIME, step_us, c->max_on_time_us, c->max_on_time_us);
    if (refusal.reason == REFUSAL_NONE) {
        refusal = over(WIRE_REFUSAL_OVER_DUTY, STEPPER_PERMILLE, c->max_duty_permille, c->max_duty_permille);
    }
    if (refusal.reason == REFUSAL_NONE) {
        refusal = over(WIRE_REFUSAL_OVER_COUNT, either_way, c->max_count, c->max_count);
    }
    return refusal;
}

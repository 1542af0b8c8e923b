/* SPDX-License-Identifier: MIT */
#include "plant.h"

#include <math.h>

#include "hal.h"
#include "wire_gen.h"

#define FULL_COUNTS 1023.0
#define SECONDS_PER_TICK 0.5e-6
#define ON_DRAIN_V 0.1
#define BIAS_V 2.5
#define A_PER_NA 1e-9
#define V_PER_UV 1e-6

static struct {
    double ohm;
    double henry;
    uint8_t drive;
    bool stuck;
    bool dead;
    uint64_t since;
} load[WIRE_MAX_CHANNELS];
static double supply_v;
static double top_counts;

void plant_reset(void)
{
    supply_v = 13.5;
    top_counts = FULL_COUNTS;
    for (uint8_t i = 0; i < WIRE_MAX_CHANNELS; i++) {
        load[i].ohm = 14.0;
        load[i].henry = 14e-3;
        load[i].drive = HAL_OFF;
        load[i].stuck = load[i].dead = false;
    }
}

void plant_set_supply(double volts)
{
    supply_v = volts;
}

void plant_set_top(double counts)
{
    top_counts = counts;
}

void plant_set_load(uint8_t channel, double ohm, double henry)
{
    load[channel - 1U].ohm = ohm;
    load[channel - 1U].henry = henry;
}

void plant_stick(uint8_t channel)
{
    load[channel - 1U].stuck = true;
}

void plant_deaden(uint8_t channel)
{
    load[channel - 1U].dead = true;
}

void plant_switch(uint8_t channel, uint8_t drive, uint64_t at_ticks)
{
    if (load[channel - 1U].drive == HAL_OFF) {
        load[channel - 1U].since = at_ticks;
    }
    load[channel - 1U].drive = drive;
}

uint8_t plant_drive(uint8_t channel)
{
    return load[channel - 1U].drive;
}

static uint16_t counts(double ideal)
{
    double whole = rint(ideal);
    return (uint16_t)(whole < 0.0 ? 0.0 : whole > FULL_COUNTS ? FULL_COUNTS : whole);
}

static uint16_t amplified(double ideal)
{
    return counts(ideal < top_counts ? ideal : top_counts);
}

void plant_current_counts(uint8_t channel, uint64_t at_ticks, uint16_t *fine, uint16_t *wide)
{
    double ohm = load[channel - 1U].ohm;
    double amperes = 0.0;
    bool on = load[channel - 1U].drive != HAL_OFF || load[channel - 1U].stuck;
    if (on && ohm > 0.0) {
        double seconds = (double)(at_ticks - load[channel - 1U].since) * SECONDS_PER_TICK;
        amperes = supply_v / ohm * -expm1(-seconds * ohm / load[channel - 1U].henry);
    }
    if (load[channel - 1U].dead) {
        *fine = *wide = 0;
        return;
    }
    *fine = amplified(amperes / (PLANT_FINE_NA_PER_COUNT * A_PER_NA) + PLANT_FINE_OFFSET_X100 / 100.0);
    *wide = amplified(amperes / (PLANT_WIDE_NA_PER_COUNT * A_PER_NA) + PLANT_WIDE_OFFSET_X100 / 100.0);
}

uint16_t plant_supply_counts(void)
{
    return counts(supply_v / (PLANT_SUPPLY_UV_PER_COUNT * V_PER_UV));
}

uint16_t plant_drain_counts(uint8_t channel)
{
    double volts = load[channel - 1U].ohm < 0.0 ? BIAS_V : supply_v;
    if (load[channel - 1U].drive != HAL_OFF) {
        volts = ON_DRAIN_V;
    }
    return counts(volts / (PLANT_DRAIN_UV_PER_COUNT * V_PER_UV));
}

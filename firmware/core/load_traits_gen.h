/* SPDX-License-Identifier: MIT */
/* What holds for every load of a kind, from load_traits.py by `python -m loomproof.job.publish`: do not edit */
#ifndef LOOMPROOF_LOAD_TRAITS_GEN_H
#define LOOMPROOF_LOAD_TRAITS_GEN_H

#include <stdbool.h>
#include <stdint.h>

#include "wire_gen.h"

/* Longest sense pulse of what sparks, us times mV: 0.1 mJ in 1 mH.
 * t = sqrt(2 E L) / V, from E = (V t)^2 / (2 L). */
#define LOAD_SPARK_SENSE_US_MV 447213UL

/* Ceilings of the load classes: on-time in ms, hold in 100 ms, duty in percent, current in 100 mA, energy of one
 * pulse in 10 mJ (0: no limit of its own). */
/* clang-format off */
#define LOAD_CEILINGS { \
    [WIRE_LOAD_CLASS_NONE] = {100, 100, 90, 200, 0}, \
    [WIRE_LOAD_CLASS_INJECTOR] = {25, 0, 50, 150, 250}, \
    [WIRE_LOAD_CLASS_COIL] = {10, 0, 10, 200, 100}, \
    [WIRE_LOAD_CLASS_IGNITER_COIL] = {10, 0, 10, 2, 0}, \
    [WIRE_LOAD_CLASS_RELAY] = {100, 100, 90, 100, 0}, \
    [WIRE_LOAD_CLASS_VALVE] = {100, 100, 90, 200, 0}, \
    [WIRE_LOAD_CLASS_LAMP] = {100, 100, 90, 200, 0}, \
    [WIRE_LOAD_CLASS_MOTOR] = {100, 50, 50, 200, 0}, \
    [WIRE_LOAD_CLASS_STEPPER] = {100, 20, 50, 50, 0}, \
    [WIRE_LOAD_CLASS_LOGIC_INPUT] = {100, 0, 90, 2, 0}, \
}
/* clang-format on */
/* Time by current, in us mA, that takes 10 mJ from 20 V, more than any box drives from: E = V I t. */
#define LOAD_PULSE_US_MA_PER_10MJ 500000UL

/* The hazard that a load class carries whatever the console says; `said` counts where a load may crank the engine. */
static inline uint8_t load_hazard(uint8_t load_class, uint8_t said)
{
    switch (load_class) {
    case WIRE_LOAD_CLASS_INJECTOR:
        return WIRE_HAZARD_FUEL;
    case WIRE_LOAD_CLASS_COIL:
    case WIRE_LOAD_CLASS_IGNITER_COIL:
        return WIRE_HAZARD_SPARK;
    case WIRE_LOAD_CLASS_MOTOR:
        return said == WIRE_HAZARD_CRANK ? WIRE_HAZARD_CRANK : WIRE_HAZARD_MOTION;
    default:
        return WIRE_HAZARD_NONE;
    }
}

/* Driving it makes a spark. */
static inline bool load_sparks(uint8_t load_class)
{
    return load_class == WIRE_LOAD_CLASS_COIL || load_class == WIRE_LOAD_CLASS_IGNITER_COIL;
}

#endif

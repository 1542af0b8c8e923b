/* SPDX-License-Identifier: MIT
 * The converter: sample sets of one channel during a drive, the supply and the temperature in between.
 *
 * It runs at 1 MHz, 13 us a conversion. Timer 1's comparator B holds both current ranges at the same instant, without the
 * processor; the interrupts that convert them may come late. 1 MHz is the fastest clock that the datasheet gives figures
 * for; ten bits are specified up to 200 kHz only, so the noise figure told to the console must be measured on the board.
 */
#ifndef SAMPLER_H
#define SAMPLER_H

#include <stdint.h>

#define SET_TICKS 320U         /* 160 us from one set to the next: four conversions, and what the core does with a set */
#define SET_NS 160000L
#define FIRST_SET_TICKS 64U    /* 32 us from the edge to the first hold: the core needs most of it to get there */
#define FIRST_SET_NS 32000L
/* Sampling instants after the hold. Drain and supply are converted first, for the currents are held and may wait; so
 * over-current is known four conversions, about 70 us, after the hold. */
#define DRAIN_SKEW_NS 7000
#define SUPPLY_SKEW_NS 25000

/* Starts the converter and measures the supply once. */
void sampler_begin(void);

/* Samples a channel (from 0) from FIRST_SET_TICKS after now on, one set every SET_TICKS. */
void sampler_start(uint8_t channel);

/* Ends it at once. */
void sampler_stop(void);

/* Measures the supply, or now and then the temperature, while no sets are taken; to be called every millisecond. */
void sampler_idle(void);

/* The latest supply reading, counts; never older than 2 ms. */
uint16_t sampler_supply(void);

/* The latest temperature reading, counts. */
uint16_t sampler_temperature(void);

/* To be provided; called in the interrupt. Both ranges of a set. */
void sampler_current(uint16_t fine, uint16_t wide);

/* To be provided; called in the interrupt. The rest of the same set. */
void sampler_rest(uint16_t supply, uint16_t drain);

#endif

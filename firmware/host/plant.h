/* SPDX-License-Identifier: MIT */
/* An inductor and a resistor on every channel, and the converter that looks at them: 10 bits, no noise. */
#ifndef LOOMPROOF_PLANT_H
#define LOOMPROOF_PLANT_H

#include <stdint.h>

/* 20 V, 60 V, 2 A and 20 A over 1023 counts, less the offsets. */
#define PLANT_SUPPLY_UV_PER_COUNT 19550U
#define PLANT_DRAIN_UV_PER_COUNT 58651U
#define PLANT_FINE_NA_PER_COUNT 1986097U
#define PLANT_WIDE_NA_PER_COUNT 19665683U
#define PLANT_FINE_OFFSET_X100 1600
#define PLANT_WIDE_OFFSET_X100 600

void plant_reset(void);
/* Board faults: a driver that conducts whatever it is told, a current reading that is dead. */
void plant_stick(uint8_t channel);
void plant_deaden(uint8_t channel);

void plant_set_supply(double volts);
/* Where the amplifiers of both current ranges top out, counts. */
void plant_set_top(double counts);
void plant_set_load(uint8_t channel, double ohm, double henry); /* ohm < 0: contact open */
void plant_switch(uint8_t channel, uint8_t drive, uint64_t at_ticks);
uint8_t plant_drive(uint8_t channel);
void plant_current_counts(uint8_t channel, uint64_t at_ticks, uint16_t *fine, uint16_t *wide);
uint16_t plant_supply_counts(void);
uint16_t plant_drain_counts(uint8_t channel);

#endif

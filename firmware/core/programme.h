/* SPDX-License-Identifier: MIT */
/* A drive as switch edges, each at an exact tick; made one at a time, since a drive may have many thousands. */
#ifndef LOOMPROOF_PROGRAMME_H
#define LOOMPROOF_PROGRAMME_H

#include "hal.h"
#include "wire_gen.h"

#define PROGRAMME_MAX_CHANNELS 4U

/* Fields belong to programme.c. All times in ticks. */
struct programme {
    uint8_t kind;
    uint8_t phase;
    uint8_t channels[PROGRAMME_MAX_CHANNELS];
    uint8_t place; /* stepper: index of the winding */
    uint16_t left; /* pulses or steps to come */
    uint32_t start;
    uint32_t period;
    uint32_t on;
    uint32_t peak;
    uint32_t chop_at;
    uint16_t chop;
    uint16_t chop_part; /* peak-and-hold: off part; bridge: low part */
};

/* `count` pulses of one channel, the first at start_ticks. */
void programme_train(struct programme *p, uint32_t start_ticks, uint8_t channel, uint16_t count, uint32_t period_us,
                     uint32_t on_time_us);

/* Full on for the peak, then off and on in each chop period until the on-time is over. */
void programme_peak_hold(struct programme *p, uint32_t start_ticks, const struct wire_drive_peak_hold *request);

/* One winding at a time; the last one goes off before the next comes on. */
void programme_stepper(struct programme *p, uint32_t start_ticks, const struct wire_drive_stepper *request);

/* Ground side low throughout; supply side high for its duty, low between so that the current runs on. */
void programme_bridge(struct programme *p, uint32_t start_ticks, const struct wire_drive_bridge *request);

/* Edges that a board should have room for when a pulse begins, so that none of them is late. */
uint8_t programme_edges_at_once(const struct programme *p);

/* Write time, channel, drive, sampling and turns of the next edge; false when there is none. Sampling is PULSE where a
 * pulse begins, END where it ends, LEAVE within it. */
bool programme_next(struct programme *p, struct hal_edge *edge);

#endif

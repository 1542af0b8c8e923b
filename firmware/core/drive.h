/* SPDX-License-Identifier: MIT */
/* Runs a drive: switch edges at exact ticks, supervision of its current, traces of its pulses. */
#ifndef LOOMPROOF_DRIVE_H
#define LOOMPROOF_DRIVE_H

#include "activity.h"
#include "hal.h"
#include "programme.h"
#include "trace.h"

/* A checked drive. */
struct drive_plan {
    uint8_t channels[PROGRAMME_MAX_CHANNELS];
    uint8_t channel_count;
    uint8_t hazards; /* classes that must stay armed */
    bool pump; /* drives a fuel pump */
    bool sensing; /* a sense pulse */
    bool together; /* its channels conduct at once: the lowest limit holds */
    uint16_t trace_every; /* 0: none; n: the first pulse and every n-th after it */
    uint8_t trace_decimation;
    uint16_t trace_samples;
    uint32_t rest_ticks; /* from the last switch-on edge until the drive may end, to keep the duty */
};

/* The drive under way. What is not plan or programme is drive.c's own. */
struct drive_run {
    struct drive_plan plan;
    struct programme programme;
    struct hal_edge ahead[HAL_EDGES_AHEAD]; /* given to the board, not yet told by it */
    uint8_t first; /* of the planned ones */
    uint8_t count;
    bool between; /* the last of them ends a pulse */
    uint8_t at_once; /* edges there must be room for to plan the next pulse */
    bool on; /* between the edges of a pulse */
    bool tripped;
    bool rested; /* the time after the last pulse has passed */
    struct hal_limit limits[PROGRAMME_MAX_CHANNELS];
    uint8_t sampled; /* channel that the converter follows */
    uint16_t untraced; /* pulses to be planned before the next traced one */
    uint16_t begun;
    uint16_t delivered;
    uint32_t rest_until;
};

void drive_reset(void);

/* [main] A drive without anything in it; nothing else may be under way. */
struct drive_run *drive_blank(void);

/* [main] Begin it, its plan and its programme filled in. The programme starts at or just before now. */
void drive_begin(void);

/* [main] Send drive_ended. */
void drive_tell_end(uint8_t reason);

/* [isr] From activity.c. */
void drive_edge(void);
void drive_over_current(const struct hal_set *set, uint32_t off_ticks);
void drive_set(const struct hal_set *set);
void drive_lost(uint8_t sets);

#endif

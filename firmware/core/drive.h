/* Runs a drive: switch edges at exact ticks, supervision of its current, traces of its pulses. */
#ifndef LOOMPROOF_DRIVE_H
#define LOOMPROOF_DRIVE_H

#include "hal.h"
#include "programme.h"
#include "trace.h"

/* A checked drive. */
struct drive_plan {
    uint8_t channels[PROGRAMME_MAX_CHANNELS];
    uint8_t channel_count;
    uint8_t hazards;    /* classes that must stay armed */
    bool pump;          /* drives a fuel pump */
    bool sensing;       /* a sense pulse */
    bool together;      /* its channels conduct at once: the lowest limit holds */
    uint16_t trace_every; /* 0: none; n: the first pulse and every n-th after it */
    uint8_t trace_decimation;
    uint16_t trace_samples;
    uint32_t rest_ticks; /* from the last switch-on edge until the drive may end, to keep the duty */
};

void drive_reset(void);

/* [main] Begin. `programme` starts at or just before now. */
void drive_begin(const struct drive_plan *plan, const struct programme *programme);

/* [main] Send drive_ended. */
void drive_tell_end(uint8_t reason);

/* [isr] From activity.c. */
void drive_edge(void);
void drive_over_current(const struct hal_set *set, uint32_t off_ticks);
void drive_set(const struct hal_set *set);
void drive_lost(void);

#endif

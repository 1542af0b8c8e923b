/* SPDX-License-Identifier: MIT */
/* The memory of what the box is doing. It does one thing at a time, so drive, scan and watch use the same. Each clears
 * it when it begins, and uses it from then until its end is reported. */
#ifndef LOOMPROOF_WORKSPACE_H
#define LOOMPROOF_WORKSPACE_H

#include <stdbool.h>

#include "core_config.h"
#include "hal.h"
#include "programme.h"
#include "wire_gen.h"

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
    struct hal_edge ahead[HAL_EDGES_AHEAD]; /* given to the board, not yet reported by it */
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
    uint32_t on_at; /* begin of the last pulse */
};

/* The scan under way; scan.c's own. */
struct scan_run {
    uint16_t sequence;
    uint8_t step;
    uint8_t channel;
    uint8_t widths_us[CORE_CHANNELS];
    uint8_t sets; /* of the pulse, still to come; the last is noted */
    uint32_t on_ticks;
    struct wire_scan_result result;
};

struct watch_queued {
    struct hal_set set;
    uint32_t index; /* of the kept sets */
};

/* What is known of the watched value. */
struct watch_finder {
    uint32_t learn_sets; /* sets of the settling time */
    uint32_t sum;
    uint32_t count;
    uint32_t least;
    uint32_t most;
    bool settled;
    uint32_t value; /* settled */
    uint32_t floor;
    bool below;
    uint32_t since_us;
    uint32_t lowest;
};

/* The watch under way; watch.c's own. */
struct watch_run {
    struct wire_watch plan;
    uint32_t start;
    uint32_t duration;
    uint8_t decimation;
    uint8_t skip;
    uint32_t kept; /* sets kept so far */
    uint16_t bias; /* where a pin without a load rests, counts */
    uint16_t least_supply; /* counts */
    bool tripped;
    struct watch_queued queue[CORE_WATCH_QUEUE];
    volatile uint8_t put;
    volatile uint8_t taken;
    struct watch_finder finder;
};

union workspace {
    struct drive_run drive;
    struct scan_run scan;
    struct watch_run watch;
};

extern union workspace workspace;

#endif

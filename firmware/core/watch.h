/* SPDX-License-Identifier: MIT */
/* The watch: one channel followed for as long as asked, every dropout told. */
#ifndef LOOMPROOF_WATCH_H
#define LOOMPROOF_WATCH_H

#include "activity.h"
#include "core_config.h"
#include "hal.h"
#include "trace.h"
#include "wire_gen.h"

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

void watch_reset(const struct hal_board *board);

/* [main] Begin a checked watch. */
void watch_begin(const struct wire_watch *request, uint8_t hazards, bool pump);

/* [main] Look for dropouts in the samples taken so far, and tell them. */
void watch_look(void);

/* [main] Tell a dropout still on, then send drive_ended. */
void watch_tell_end(uint8_t reason);

/* [isr] End it when its time is up. */
void watch_tick(uint32_t now_ticks);

/* [isr] From activity.c. */
void watch_over_current(const struct hal_set *set);
void watch_set(const struct hal_set *set);
void watch_lost(uint8_t sets);

/* [main] Sample sets lost because the main loop was late; saturates. */
uint16_t watch_overruns(void);

#endif

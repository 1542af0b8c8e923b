/* SPDX-License-Identifier: MIT */
/* The one thing that the box is doing: a drive (or a sense pulse), a scan or a watch. */
#ifndef LOOMPROOF_ACTIVITY_H
#define LOOMPROOF_ACTIVITY_H

#include <stdbool.h>
#include <stdint.h>

#include "hal.h"
#include "refusal.h"

enum activity_kind { ACTIVITY_DRIVE, ACTIVITY_SCAN, ACTIVITY_WATCH, ACTIVITY_NONE };

/* Where the events of one kind go; NULL: nowhere. core.c has the table, in ROM. */
struct activity_handlers {
    void (*edge)(void); /* [isr] an edge was carried out */
    void (*over_current)(const struct hal_set *set, uint32_t off_ticks); /* [isr] everything is off */
    void (*set)(const struct hal_set *set); /* [isr] a sample set */
    void (*lost)(uint8_t sets); /* [isr] sample sets were missed */
    void (*tick)(uint32_t now_ticks); /* [isr] every ms */
    void (*poll)(void); /* [main] each turn of the main loop */
    void (*ended)(uint8_t reason); /* [main] it is over: report it; enum wire_end_reason */
};

/* `the_table`: in ROM, one row for each kind but ACTIVITY_NONE. */
void activity_reset(const struct activity_handlers *the_table);

/* [main] Take the stage. `channel` is what the status reports; `hazards` must stay armed. */
void activity_begin(uint8_t kind, uint8_t channel, uint8_t hazards, bool pump, uint8_t box_state);

/* [main] Refuse while there is one. */
struct refusal activity_check_busy(void);

/* [main] Whether there is one, and its facts. */
bool activity_busy(void);
uint8_t activity_channel(void);
uint8_t activity_hazards(void);
bool activity_pump(void);
uint8_t activity_state(void);

/* [isr] The channel reported changes (a scan moves on). */
void activity_at_channel(uint8_t channel);

/* [isr] It has done all it was to do: everything off. */
void activity_over(void);

/* [isr] Break it off now: outputs off, no more edges. The first reason stays. The main loop reports it later. */
void activity_cut(uint8_t end_reason);

/* [main] Break it off and report it. Nothing happens without one. */
void activity_end(uint8_t end_reason);

/* [main] Report what is over, cut or tripped. */
void activity_poll(void);

/* [isr] Every ms: a watch ends when its time is up. */
void activity_tick(uint32_t now_ticks);

/* [isr] From the board. */
void activity_edge(void);
void activity_over_current(const struct hal_set *set, uint32_t off_ticks);
void activity_set(const struct hal_set *set);
void activity_lost(uint8_t sets);

#endif

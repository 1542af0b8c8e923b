/* SPDX-License-Identifier: MIT */
/* The converter: sample sets of one channel during a drive, the supply and the temperature in between.
 *
 * Timer 1's comparator B holds both current ranges at the same instant, without the processor, and starts the first
 * conversion of the set; each interrupt starts the next one, and the rest of the set's time absorbs how late they come.
 * First comes the range that over-current is judged in, and it is judged in that very interrupt.
 *
 * The converter runs at 1 MHz, 13 us a conversion: the fastest clock that the datasheet gives figures for. Ten bits are
 * specified up to 200 kHz only; up to 1 MHz the datasheet admits some counts of error, so the noise and the gain
 * reported to the console must be measured on the board. At 500 kHz a set would take 116 us, too few for a sense pulse
 * of 80 us to be measured at all. */
#ifndef SAMPLER_H
#define SAMPLER_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"
#include "edge_count.h"
#include "hal.h"

#define SET_TICKS (SET_US * HAL_TICKS_PER_US) /* from one set to the next */
#define SET_NS (SET_US * 1000L)
#define FIRST_SET_TICKS 16U /* 8 us from the edge to the first hold: driver and amplifiers have settled */
#define FIRST_SET_NS 8000L
/* Sampling instants against the hold, nominal; an interrupt that comes late makes them later by some us. The supply of
 * a set is the one converted last before the hold; in the first set after a rest, up to 1 ms before. */
#define DRAIN_SKEW_NS 30500
#define SUPPLY_SKEW_NS (44500 - SET_NS)

/* What an edge does to the sampler. */
#define SAMPLER_JUDGE 0x01U /* the limit holds from here on */
#define SAMPLER_JUDGE_NO_MORE 0x02U
#define SAMPLER_ANEW 0x04U /* sets begin anew */
#define SAMPLER_ANEW_UNLESS_KEPT 0x08U
#define SAMPLER_END_UNLESS_KEPT 0x10U
#define SAMPLER_KEEP 0x20U
#define SAMPLER_REPORT 0x40U /* sets are reported */
#define SAMPLER_BRIEF 0x80U /* not for the sampler: the next edge ends a pulse as short as edges.c says */

/* The same, made ready. */
struct sampler_order {
    uint8_t does;
    uint8_t every; /* of the sets, this many-th is reported */
    uint8_t judged_input; /* current that the limit is for */
    uint8_t drain_input;
    uint8_t address; /* of the drain multiplexers */
    uint16_t limit; /* counts */
    uint16_t hold; /* compare value of the first hold */
};

/* Starts the converter and measures the supply once. */
void sampler_begin(void);

/* [later] Makes an edge ready. */
void sampler_prepare(struct sampler_order *order, const struct hal_edge *edge);

/* [later] Whether an over-current was seen and not yet reported. */
bool sampler_is_over(void);

/* With interrupts off: no pulse is on any more, whatever edges were planned. */
void sampler_pulse_over(void);

/* As hal_adc_start (channels from 0), hal_adc_stop, hal_adc_release. */
void sampler_start(uint8_t channel);
void sampler_stop(void);
void sampler_release(void);

/* [later] Whether no current was judged since a pulse began or sets did, or, while a pulse is on, since this was asked
 * last. */
bool sampler_is_dead(void);

/* Measures the supply, or now and then the temperature, while no sets are taken; to be called every millisecond. */
void sampler_idle(void);

/* The latest supply reading, counts; never older than 2 ms. */
uint16_t sampler_supply(void);

/* The latest temperature reading, counts. */
uint16_t sampler_temperature(void);

/* A set that is to be reported. */
struct sampler_set {
    struct hal_set set; /* `fine` is the current converted first, `wide` the other one, until it is reported */
    uint8_t first_input;
    bool in_turn; /* or reported for its over-current only */
    bool over;
    uint8_t lost; /* sets missed just before it */
    uint8_t edges; /* carried out before it */
};

/* Those that wait: a ring. */
extern struct sampler_set sampler_sets[SETS_WAITING];
extern volatile uint8_t sampler_put, sampler_taken;

/* [later] Whether the set at the ring's beginning is to be reported now: an edge that came before it goes first. */
static inline bool sampler_is_due(uint8_t taken)
{
    return taken != sampler_put && (int8_t)(edge_count_reported - sampler_sets[taken].edges) >= 0;
}

/* [later] Puts the currents of a set in the order of hal.h. */
static inline void sampler_order_currents(struct sampler_set *oldest)
{
    if (oldest->first_input == INPUT_WIDE) {
        const uint16_t wide = oldest->set.fine;
        oldest->set.fine = oldest->set.wide;
        oldest->set.wide = wide;
    }
}

/* [later] When everything went off, for a set that is over its limit; switching is allowed again. */
uint32_t sampler_off_ticks(void);

/* [later] That set is reported and makes room, unless it was forgotten meanwhile. */
static inline void sampler_reported(uint8_t taken)
{
    if (sampler_taken == taken) {
        sampler_taken = (uint8_t)((taken + 1U) % SETS_WAITING);
    }
}

#endif

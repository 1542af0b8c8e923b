/* SPDX-License-Identifier: MIT */
#include "activity.h"

#include <stddef.h>

#include "outputs.h"
#include "rom.h"
#include "trace.h"
#include "trip.h"
#include "wire_gen.h"

#define NOT_CUT 0xFFU

static const struct activity_handlers *table;
static struct activity_handlers handlers; /* of the one under way: read for each sample set, so not from ROM */

static struct {
    volatile uint8_t kind;
    volatile uint8_t channel;
    volatile uint8_t cut; /* enum wire_end_reason, or NOT_CUT */
    volatile bool over;
    uint8_t hazards;
    bool pump;
    uint8_t state;
} current;

void activity_reset(const struct activity_handlers *the_table)
{
    table = the_table;
    current.kind = ACTIVITY_NONE;
}

void activity_begin(uint8_t kind, uint8_t channel, uint8_t hazards, bool pump, uint8_t box_state)
{
    hal_adc_stop(); /* a look at rest, if one is under way */
    current.channel = channel;
    current.cut = NOT_CUT;
    current.over = false;
    current.hazards = hazards;
    current.pump = pump;
    current.state = box_state;
    rom_copy(&handlers, &table[kind], sizeof handlers);
    current.kind = kind;
}

bool activity_busy(void)
{
    return current.kind != ACTIVITY_NONE;
}

struct refusal activity_check_busy(void)
{
    if (activity_busy()) {
        return refusal_of(WIRE_REFUSAL_BUSY, current.channel);
    }
    return refusal_none();
}

uint8_t activity_channel(void)
{
    return activity_busy() ? current.channel : 0;
}

uint8_t activity_hazards(void)
{
    return activity_busy() ? current.hazards : 0;
}

bool activity_pump(void)
{
    return activity_busy() && current.pump;
}

uint8_t activity_state(void)
{
    return activity_busy() ? current.state : (uint8_t)WIRE_BOX_STATE_IDLE;
}

void activity_at_channel(uint8_t channel)
{
    current.channel = channel;
}

void activity_over(void)
{
    current.over = true;
    outputs_all_off();
    hal_adc_stop();
}

void activity_cut(uint8_t end_reason)
{
    if (current.kind == ACTIVITY_NONE || current.over || current.cut != NOT_CUT) {
        return;
    }
    outputs_all_off();
    current.cut = end_reason;
    hal_adc_stop();
    trace_close(hal_now_ticks());
}

static void finish(void)
{
    uint8_t reason = current.cut == NOT_CUT ? (uint8_t)WIRE_END_REASON_COMPLETE : current.cut;
    current.kind = ACTIVITY_NONE;
    trip_announce();
    trace_announce();
    handlers.ended(reason);
}

void activity_end(uint8_t end_reason)
{
    if (current.kind == ACTIVITY_NONE) {
        return;
    }
    uint8_t saved = hal_irq_save();
    activity_cut(end_reason);
    hal_irq_restore(saved);
    finish();
}

void activity_poll(void)
{
    trip_announce();
    trace_announce();
    if (current.kind == ACTIVITY_NONE) {
        return;
    }
    if (handlers.poll != NULL) {
        handlers.poll();
    }
    if (current.over || current.cut != NOT_CUT) {
        finish();
    }
}

static bool running(void)
{
    return current.kind != ACTIVITY_NONE && !current.over && current.cut == NOT_CUT;
}

void activity_tick(uint32_t now_ticks)
{
    if (handlers.tick != NULL && running()) {
        handlers.tick(now_ticks);
    }
}

void activity_edge(void)
{
    if (handlers.edge != NULL && running()) {
        handlers.edge();
    }
}

void activity_over_current(const struct hal_set *set, uint32_t off_ticks)
{
    outputs_all_off(); /* they are; but nothing may depend on the board alone */
    if (running()) {
        handlers.over_current(set, off_ticks);
    }
}

void activity_lost(uint8_t sets)
{
    if (handlers.lost != NULL && running()) {
        handlers.lost(sets);
    }
}

void activity_set(const struct hal_set *set)
{
    if (running()) {
        handlers.set(set);
    }
}

/* SPDX-License-Identifier: MIT */
#include "edges.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "clock.h"
#include "deferred.h"
#include "edge_count.h"
#include "gates.h"
#include "line.h"
#include "sampler_state.h"

#define LEAD_TICKS 54U /* 27 us: the interrupt's own beginning, and the longest time that anything else holds it up */
#define TURN_LEAD_TICKS 16U /* 8 us: the interrupt's own beginning alone */
#define LATE_TICKS 4U /* nearer than this a compare value may be passed while it is written */
#define AIMING_TICKS 24U /* longer than edges_aim takes from reading the count to writing the compare value */
#define QUIET_TICKS 34U /* 17 us: with more time than this other interrupts are let in; two of them take no longer */
#define CALM_TICKS 10U /* with more time than this a received byte is taken in while waiting */
#define SHORT_TICKS 48U /* 24 us: a pulse as short as this is begun and ended in one go */
#define CLOSE_TICKS 12000U /* 6 ms: an edge no later than this after another one is aimed at by its interrupt */
#define ARM_TICKS 20000 /* 10 ms: any other is aimed at by edges_aim when it is as near as this */

/* An edge made ready. */
struct order {
    uint32_t tick;
    struct gate_write write;
    struct sampler_order sampling;
    bool close; /* to the one before it */
    uint8_t turn; /* one of two that come by turns: enum turn */
    uint16_t again_ticks;
    uint16_t times;
};

enum turn { TURN_NONE, TURN_FIRST, TURN_SECOND };

static struct order orders[HAL_EDGES_AHEAD];
static struct order *first = orders; /* of those ahead */
static struct order *next_free = orders;
static uint32_t last_planned;
static volatile bool aimed; /* at the first of them */
static bool turns_end; /* one of the two has come for the last time */
static uint8_t staged; /* the first of two, made ready and waiting for the second */

static inline void wake_at(uint16_t low)
{
    OCR1A = low;
    TIFR1 = _BV(OCF1A);
    TIMSK1 |= _BV(OCIE1A);
}

static inline struct order *after(struct order *order)
{
    return order == &orders[HAL_EDGES_AHEAD - 1U] ? orders : order + 1;
}

static inline struct order *before(struct order *order)
{
    return order == orders ? &orders[HAL_EDGES_AHEAD - 1U] : order - 1;
}

static inline uint16_t lead_of(const struct order *order)
{
    return order->turn == TURN_NONE ? LEAD_TICKS : TURN_LEAD_TICKS;
}

void edges_aim(void)
{
    if (aimed || !edge_count_ahead) {
        return;
    }
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        const int32_t ahead = (int32_t)(first->tick - clock_read());
        aimed = edge_count_ahead && ahead < ARM_TICKS;
        if (aimed && ahead > (int32_t)(LEAD_TICKS + AIMING_TICKS)) {
            wake_at((uint16_t)((uint16_t)first->tick - LEAD_TICKS));
        } else if (aimed) {
            wake_at((uint16_t)(TCNT1 + LATE_TICKS));
        }
    }
}

bool edges_are_overdue(void)
{
    bool overdue;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        overdue = edge_count_ahead && (int32_t)(clock_read() - first->tick) > (int32_t)HAL_TICKS_PER_MS;
    }
    return overdue;
}

/* Lets the interrupt have what was planned, one order or the two of a pair. */
static void hand_over(struct order *order)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        if (edge_count_ahead == 0) {
            first = next_free;
            aimed = turns_end = false;
        }
        if (!sampler_is_over()) {
            edge_count_ahead = (uint8_t)(edge_count_ahead + (order->turn == TURN_SECOND ? 2U : 1U));
            next_free = after(order);
        }
    }
}

/* Whether it ends a pulse so soon after its beginning, which was planned just before. */
static bool ends_brief_pulse(const struct hal_edge *edge)
{
    return edge->channel && edge->drive == HAL_OFF && edge->at_ticks - last_planned <= SHORT_TICKS;
}

void edges_plan(const struct hal_edge *edge)
{
    static const enum gate gates[] = {
        [HAL_OFF] = GATE_OFF, [HAL_ON] = GATE_ON, [HAL_HIGH] = GATE_UPPER, [HAL_LOW] = GATE_ON};
    if (edge_count_ahead + staged >= HAL_EDGES_AHEAD || sampler_is_over()) {
        return;
    }
    struct order *order = staged ? after(next_free) : next_free;
    order->tick = edge->at_ticks;
    order->close = edge->at_ticks - last_planned < CLOSE_TICKS;
    if (ends_brief_pulse(edge)) {
        before(order)->sampling.does |= SAMPLER_BRIEF;
    }
    last_planned = edge->at_ticks;
    order->again_ticks = edge->again_ticks;
    order->times = edge->times;
    order->turn = edge->again_ticks == 0 ? TURN_NONE : staged ? TURN_SECOND : TURN_FIRST;
    if (edge->channel) {
        gates_prepare(&order->write, (uint8_t)(edge->channel - 1U), gates[edge->drive]);
    } else {
        gates_prepare_nothing(&order->write);
    }
    sampler_prepare(&order->sampling, edge);
    staged = order->turn == TURN_FIRST;
    if (staged) {
        return;
    }
    hand_over(order);
    edges_aim();
}

void edges_cancel(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        edge_count_drop();
        staged = 0;
        edge_count_reported = edge_count_done;
        sampler_pulse_over();
    }
}

static inline void let_others_in(void)
{
    sei();
    __asm__ __volatile__("nop\n\tnop"); /* an interrupt comes in one instruction after sei at the earliest */
    cli();
}

/* At once when that has passed, by however much. */
static inline void wait_until(uint16_t low)
{
    uint16_t left = (uint16_t)(low - TCNT1);
    while (left > CALM_TICKS && left <= LEAD_TICKS + LATE_TICKS) {
        if (left > QUIET_TICKS) {
            let_others_in();
        } else {
            line_attend();
        }
        left = (uint16_t)(low - TCNT1);
    }
    if (left <= CALM_TICKS) {
        while ((int8_t)((uint8_t)low - TCNT1L) > 0)
            ;
    }
}

/* Whether the next edge is so near that the interrupt had better wait for it; otherwise it comes again, aimed here when
 * there is no time for edges_aim to do so. */
static inline bool follows(const struct order *next)
{
    aimed = edge_count_ahead && next->close;
    if (!aimed) {
        TIMSK1 &= (uint8_t)~_BV(OCIE1A);
        return false;
    }
    const uint16_t wake = (uint16_t)((uint16_t)next->tick - lead_of(next));
    const uint16_t left = (uint16_t)(wake - TCNT1);
    if (left <= LATE_TICKS || left > CLOSE_TICKS) { /* or past */
        return true;
    }
    wake_at(wake);
    return false;
}

/* What comes after this edge; two by turns count as carried out when both have come for the last time. */
static inline struct order *pass(struct order *order)
{
    uint8_t passed = 1;
    struct order *next = after(order);
    if (order->turn != TURN_NONE) {
        struct order *other = order->turn == TURN_FIRST ? next : before(order);
        const bool last = order->times == 0;
        if (!turns_end) {
            order->sampling.does = 0;
            order->tick += order->again_ticks;
            order->times--;
            turns_end = last;
            return other;
        }
        turns_end = false;
        passed = 2;
        next = order->turn == TURN_FIRST ? after(next) : next;
    }
    edge_count_ahead = (uint8_t)(edge_count_ahead - passed);
    edge_count_done = (uint8_t)(edge_count_done + passed);
    return next;
}

/* Carries the first edge out; whether the next one is to follow at once. Not inlined: the interrupt would have to save
 * twice as many registers before it gets here. */
static __attribute__((noinline)) bool carry_out(struct order *order)
{
    const bool brief = order->sampling.does & SAMPLER_BRIEF;
    const bool early = SAMPLES_EARLY && brief;
    if (early) {
        sampler_do(&order->sampling);
    }
    wait_until((uint16_t)((uint16_t)order->tick - PIN_TICKS));
    if (!edge_count_ahead) { /* what was let in meanwhile was an over-current, which drops the plan */
        return false;
    }
    gates_do(&order->write);
    if (!early) {
        sampler_do(&order->sampling);
    }
    if (brief) { /* what comes after this would take longer than the pulse; the gate is written again then */
        const struct order *end = after(order);
        const uint8_t low = (uint8_t)((uint8_t)end->tick - SHORT_PIN_TICKS);
        while ((int8_t)(low - TCNT1L) > 0)
            ;
        gates_do(&end->write);
    }
    line_attend();
    if (order->turn != TURN_NONE) {
        let_others_in();
        if (!edge_count_ahead) {
            return false;
        }
    }
    first = pass(order);
    return follows(first);
}

ISR(TIMER1_COMPA_vect)
{
    const uint8_t held = deferred_hold_in_interrupt();
    if (edge_count_ahead) {
        while (carry_out(first))
            ;
    }
    deferred_release_in_interrupt(held);
    deferred_raise();
}

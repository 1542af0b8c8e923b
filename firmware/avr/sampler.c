/* SPDX-License-Identifier: MIT */
#include "sampler.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <util/atomic.h>

#include "board.h"
#include "clock.h"
#include "deferred.h"
#include "edge_count.h"
#include "gates.h"
#include "sampler_state.h"

#define COMPARATOR_B (_BV(ADTS2) | _BV(ADTS0))
#define TRACK_TICKS 8U /* 4 us: the hold switches have been let go by then, and have followed for 3 us */
#define SETS_REPORTED_AT_ONCE \
    2U /* getting there costs as much as reporting one; the millisecond reports what is left */
#define TEMPERATURE_EVERY 64U /* idle readings */

struct sampler_state sampler = {.limit = NO_LIMIT};
volatile uint8_t sampler_next_admux, sampler_next_adcsra;
static uint16_t first_counts, second_counts; /* of the set under way */

static volatile bool over; /* seen, not yet reported */
static uint16_t off_low; /* when everything went off, lower half of the tick count */

struct sampler_set sampler_sets[SETS_WAITING];
volatile uint8_t sampler_put, sampler_taken;

static volatile uint16_t latest_supply, latest_temperature;
static uint8_t idle_count;
uint8_t sampler_idle_input = SAMPLER_NO_INPUT;

static void select(uint8_t input)
{
    ADMUX = AVCC_REFERENCE | input;
}

void sampler_begin(void)
{
    HOLD_DDR |= _BV(HOLD_BIT);
    ADDRESS_DDR |= ADDRESS_MASK;
    ADCSRB = COMPARATOR_B;
    ADCSRA = _BV(ADEN) | DIVIDE_BY_16;
    select(INPUT_SUPPLY);
    ADCSRA |= _BV(ADSC);
    loop_until_bit_is_clear(ADCSRA, ADSC);
    latest_supply = ADC;
    ADCSRA = IDLE | _BV(ADIF);
}

/* --- beginning and ending ------------------------------------------------------------------------------------- */

static void aim(struct sampler_order *order, uint8_t channel, uint16_t tick)
{
    order->address = channel % DRAINS_PER_INPUT;
    order->drain_input = (uint8_t)(INPUT_FIRST_DRAIN + channel / DRAINS_PER_INPUT);
    order->hold = (uint16_t)(tick + FIRST_SET_TICKS - 1U); /* a match shows one tick later */
}

void sampler_prepare(struct sampler_order *order, const struct hal_edge *edge)
{
    static const uint8_t does[] PROGMEM = {
        [HAL_SAMPLING_LEAVE] = 0,
        [HAL_SAMPLING_PULSE] = SAMPLER_JUDGE | SAMPLER_ANEW_UNLESS_KEPT,
        [HAL_SAMPLING_SENSE] = SAMPLER_JUDGE | SAMPLER_ANEW | SAMPLER_REPORT,
        [HAL_SAMPLING_TRACE] = SAMPLER_JUDGE | SAMPLER_ANEW | SAMPLER_REPORT | SAMPLER_KEEP,
        [HAL_SAMPLING_LAST] = SAMPLER_JUDGE_NO_MORE,
        [HAL_SAMPLING_END] = SAMPLER_JUDGE_NO_MORE | SAMPLER_END_UNLESS_KEPT,
    };
    order->does = pgm_read_byte(&does[edge->sampling]);
    order->judged_input = edge->limit.wide ? INPUT_WIDE : INPUT_FINE;
    order->limit = edge->limit.counts;
    order->every = edge->sampling == HAL_SAMPLING_TRACE ? edge->every : 1;
    if (edge->sampled) {
        aim(order, (uint8_t)(edge->sampled - 1U), (uint16_t)edge->at_ticks);
        if (edge->sampling == HAL_SAMPLING_SENSE) {
            order->hold = (uint16_t)(order->hold + edge->wait_ticks);
        }
    }
}

void sampler_pulse_over(void)
{
    sampler.limit = NO_LIMIT;
    sampler.pulse = sampler.due = false;
}

bool sampler_is_dead(void)
{
    const bool judged = GPIOR0 & _BV(PHASE_JUDGED);
    GPIOR0 &= (uint8_t)~_BV(PHASE_JUDGED);
    if (judged) {
        sampler.due = false;
    }
    return !judged && (sampler.due || sampler.pulse);
}

bool sampler_is_over(void)
{
    return over;
}

static void forget_sets(void)
{
    sampler_taken = sampler_put;
    sampler.lost = 0;
    sampler.over = false;
    if (over) {
        over = false;
        gates_unbar();
    }
}

void sampler_start(uint8_t channel)
{
    struct sampler_order order = {.does = SAMPLER_REPORT, .every = 1, .judged_input = INPUT_FINE};
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        forget_sets();
        aim(&order, channel, TCNT1);
        sampler_begin_anew(&order);
    }
}

void sampler_stop(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        sampler.kept = false;
        sampler_pulse_over();
        forget_sets();
        sampler_end();
    }
}

void sampler_release(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        sampler.kept = false;
        sampler.wanted = 0;
        if (!sampler.pulse && !over) {
            sampler_end();
        }
    }
}

/* --- between drives ------------------------------------------------------------------------------------------- */

void sampler_idle(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        if (!(GPIOR0 & PHASES) &&
            !(ADCSRA & (_BV(ADSC) | _BV(ADIF)))) { /* nor one done that its interrupt has not seen */
            sampler_idle_input = ++idle_count % TEMPERATURE_EVERY ? INPUT_SUPPLY : INPUT_TEMPERATURE;
            select(sampler_idle_input);
            ADCSRA = START;
        }
    }
}

static uint16_t whole(const volatile uint16_t *counts)
{
    uint16_t copy;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        copy = *counts;
    }
    return copy;
}

uint16_t sampler_supply(void)
{
    return whole(&latest_supply);
}

uint16_t sampler_temperature(void)
{
    return whole(&latest_temperature);
}

static inline void finish_idle(uint16_t counts)
{
    if (sampler_idle_input == INPUT_SUPPLY) {
        latest_supply = counts;
    } else if (sampler_idle_input == INPUT_TEMPERATURE) { /* neither: the last one of a set broken off */
        latest_temperature = counts;
    }
    sampler_idle_input = SAMPLER_NO_INPUT;
}

/* --- the set -------------------------------------------------------------------------------------------------- */

#define DONE(name)                                                   \
    void __vector_##name##_done(void) __attribute__((signal, used)); \
    void __vector_##name##_done(void)

/* Everything off, at once; the program learns of it with the set. */
static inline void trip(void)
{
    gates_all_off();
    off_low = TCNT1;
    gates_bar();
    over = sampler.over = true;
    edge_count_drop();
    sampler_pulse_over();
}

/* Comparator B starts the first conversion, unless it has already passed while the converter was busy: then the hold
 * was exact all the same. The second follows. */
static inline void expect_first(void)
{
    sampler_next(sampler.first_input ^ OTHER_CURRENT, START);
    if (TIFR1 & _BV(OCF1B) && !(ADCSRA & _BV(ADSC))) {
        ADCSRA = START;
    }
}

/* The current that is judged; the second is being converted. When this ends its sample has been taken (2.5 us from its
 * start at most), and the hold switches may track. */
DONE(first)
{
    const uint16_t counts = ADC;
    if (counts > sampler.limit && sampler.first_input == sampler.judged_input) {
        trip();
    }
    GPIOR0 |= _BV(PHASE_JUDGED);
    if (!sampler.pulse) {
        sampler.limit = NO_LIMIT;
        if (sampler.ending && !sampler.over) {
            sampler_end();
            return;
        }
    }
    first_counts = counts;
    sampler_next_admux = AVCC_REFERENCE | sampler.drain_input;
    GPIOR0 &= (uint8_t)~_BV(PHASE_FIRST);
    GPIOR0 |= _BV(PHASE_SECOND);
    uint16_t hold = (uint16_t)(OCR1B + SET_TICKS);
    if ((uint8_t)((uint8_t)hold - TCNT1L - TRACK_TICKS) > SET_TICKS) {
        hold = (uint16_t)(hold + SET_TICKS); /* too late for the next hold: that set is left out */
        sampler.left_out = true;
    }
    OCR1B = hold;
    TIFR1 = _BV(OCF1B);
    sampler_track();
}

/* The drain is being converted. */
DONE(second)
{
    second_counts = ADC;
    sampler_next_admux = AVCC_REFERENCE | INPUT_SUPPLY;
    GPIOR0 &= (uint8_t)~_BV(PHASE_SECOND);
    GPIOR0 |= _BV(PHASE_DRAIN);
}

/* Whether the next set is to be reported. */
static inline bool take_turn(void)
{
    if (!sampler.wanted || --sampler.until) {
        return false;
    }
    sampler.until = sampler.every;
    return true;
}

static inline void put_set(uint16_t drain, bool in_turn)
{
    struct sampler_set *slot = &sampler_sets[sampler_put];
    const uint8_t next = (uint8_t)((sampler_put + 1U) % SETS_WAITING);
    if (next == sampler_taken) {
        if (in_turn) {
            sampler.lost++;
        }
        return;
    }
    slot->set.fine = first_counts;
    slot->set.wide = second_counts;
    slot->first_input = sampler.first_input;
    slot->set.drain = drain;
    slot->set.supply = latest_supply;
    slot->over = sampler.over;
    slot->edges = edge_count_done;
    slot->in_turn = in_turn;
    slot->lost = sampler.lost;
    sampler.lost = 0;
    sampler_put = next;
    if (sampler.over || (uint8_t)(next - sampler_taken) % SETS_WAITING >= SETS_REPORTED_AT_ONCE) {
        deferred_raise();
    }
    sampler.over = false;
}

/* The set is whole, the supply is being converted: for the next set, since it is too late for the header of this one.
 */
DONE(drain)
{
    const uint16_t counts = ADC;
    const bool in_turn = take_turn();
    if (in_turn || sampler.over) {
        put_set(counts, in_turn);
    }
    if (sampler.left_out) {
        sampler.left_out = false;
        sampler.lost = (uint8_t)(sampler.lost + take_turn());
    }
    sampler.first_input = sampler.judged_input;
    sampler_next(sampler.first_input, BY_MATCH);
    GPIOR0 &= (uint8_t)~_BV(PHASE_DRAIN);
    GPIOR0 |= _BV(PHASE_SUPPLY);
}

DONE(supply)
{
    latest_supply = ADC;
    GPIOR0 &= (uint8_t)~_BV(PHASE_SUPPLY);
    GPIOR0 |= _BV(PHASE_FIRST);
    expect_first();
}

/* Between sets, or one that is not wanted. */
DONE(other)
{
    if (GPIOR0 & _BV(PHASE_DROP)) {
        sampler_idle_input = SAMPLER_NO_INPUT;
        sampler_be_at(_BV(PHASE_FIRST));
        expect_first();
    } else {
        finish_idle(ADC);
    }
}

/* --- reporting ------------------------------------------------------------------------------------------------ */

uint32_t sampler_off_ticks(void)
{
    over = false;
    gates_unbar();
    return clock_whole(off_low);
}

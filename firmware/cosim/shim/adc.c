/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The converter: 10 bits, 5 V reference, instants of sampling and rounding as in the datasheet (transitions half a
 * count below each whole one). Volts come from a callback, for many instants at once as long as nothing is switched:
 * what the hold switch holds, at the very instants of the next holds; the other inputs, whose instants depend on when
 * an interrupt comes, on a grid so fine that a straight line between its points will do. */
#include "cosim.h"

#include <math.h>

enum { ADCL = 0x78, ADCH = 0x79, ADCSRA = 0x7A, ADCSRB = 0x7B, ADMUX = 0x7C };
enum { ADEN = 0x80, ADSC = 0x40, ADATE = 0x20, ADIF = 0x10, PRESCALER = 7, ADLAR = 0x20, MUX5 = 0x08, ADTS = 7 };
enum { FULL_COUNTS = 1023, STEPS = 1024, BANDGAP = 0x1E, GROUND = 0x1F, INPUT_MASK = 7, MUX_MASK = 0x1F };
static const double REFERENCE_V = 5.0;
static const double BANDGAP_V = 1.1;

/* Half ADC clocks from the start: sampling instant and end, by kind of conversion (datasheet, ADC timing). */
struct timing {
    uint32_t sample, end;
};
static const struct timing normal = {3, 26}, first_one = {27, 50}, triggered = {4, 27};

static uint32_t half_clock(const avr_t *avr)
{
    const uint32_t bits = avr->data[ADCSRA] & PRESCALER;
    return bits ? 1U << (bits - 1U) : 1U;
}

static double fetch(struct cosim *sim, int input, uint64_t first, uint64_t step, int count)
{
    struct cosim_foresight *block = &sim->adc.foresight[input];
    block->first = first;
    block->step = step;
    block->count = count;
    block->epoch = sim->epoch;
    sim->counters.fetches++;
    sim->on_volts(sim->user, input, first, step, count, block->volts);
    return block->volts[0];
}

static bool valid(const struct cosim *sim, const struct cosim_foresight *block)
{
    return block->count && block->epoch == sim->epoch;
}

/* Volts that the hold switch held at a cycle. */
static double held(struct cosim *sim, int input, uint64_t cycle)
{
    struct cosim_foresight *block = &sim->adc.foresight[input];
    if (valid(sim, block) && cycle >= block->first) {
        const uint64_t ahead = cycle - block->first;
        if (ahead == 0) {
            return block->volts[0];
        }
        if (block->step && ahead % block->step == 0 && ahead / block->step < (uint64_t)block->count) {
            block->last = cycle;
            return block->volts[ahead / block->step];
        }
    }
    const uint64_t step = cycle - block->last;
    const bool regular = valid(sim, block) && step == block->step;
    block->grow = regular ? (block->grow * 2 < COSIM_BLOCK ? block->grow * 2 : COSIM_BLOCK) : 1;
    block->last = cycle;
    return fetch(sim, input, cycle, step, block->grow);
}

/* Volts at a cycle from the grid. The blocks of all inputs begin alike, so that the loom can answer for them together.
 */
static double between(struct cosim *sim, int input, uint64_t cycle)
{
    struct cosim_foresight *block = &sim->adc.foresight[input];
    if (!valid(sim, block) || cycle < block->first ||
        cycle - block->first >= (uint64_t)(block->count - 1) * block->step) {
        const bool settled = cycle - sim->epoch_cycle > COSIM_SETTLED;
        const uint64_t span = (uint64_t)COSIM_GRID * (settled ? COSIM_BLOCK - 1 : COSIM_SHORT_BLOCK - 1);
        const uint64_t first = sim->epoch_cycle + (cycle - sim->epoch_cycle) / span * span;
        fetch(sim, input, first, COSIM_GRID, settled ? COSIM_BLOCK : COSIM_SHORT_BLOCK);
    }
    const double place = (double)(cycle - block->first) / (double)block->step;
    const int index = (int)place;
    return block->volts[index] + (place - index) * (block->volts[index + 1] - block->volts[index]);
}

/* Two uniform draws to a normal one (Box and Muller, 1958); splitmix64 makes the uniform ones. */
static double uniform(struct cosim *sim)
{
    uint64_t z = sim->noise_state += 0x9E3779B97F4A7C15U;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9U;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBU;
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) / 9007199254740992.0; /* 2^53 */
}

static double noise(struct cosim *sim)
{
    static const double two_pi = 6.283185307179586;
    return sim->noise_counts > 0.0 ? sim->noise_counts * sqrt(-2.0 * log(uniform(sim))) * cos(two_pi * uniform(sim))
                                   : 0.0;
}

static double volts_at(struct cosim *sim, uint64_t cycle)
{
    const int mux = sim->adc.mux;
    const bool high = sim->adc.mux_high;
    if (mux == BANDGAP && !high) {
        return BANDGAP_V;
    }
    if (mux > INPUT_MASK || !sim->on_volts) {
        return 0.0;
    }
    const int input = mux | (high ? 8 : 0);
    const bool is_held = sim->adc.held_inputs >> input & 1U && sim->adc.hold_cycle != COSIM_NEVER;
    return is_held ? sim->adc.held_volts[input] : between(sim, input, cycle);
}

/* One ADC clock after the start the input is taken over; later changes are for the next conversion. */
static avr_cycle_count_t take_input(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct cosim *sim = param;
    (void)when;
    sim->adc.mux = avr->data[ADMUX] & MUX_MASK;
    sim->adc.mux_high = avr->data[ADCSRB] & MUX5;
    return 0;
}

static avr_cycle_count_t sample(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct cosim *sim = param;
    (void)avr;
    const double counts = volts_at(sim, when) / REFERENCE_V * STEPS + noise(sim) + 0.5;
    sim->adc.result = counts <= 0.0 ? 0 : counts >= FULL_COUNTS ? FULL_COUNTS : (uint16_t)counts;
    return 0;
}

static void begin(struct cosim *sim, struct timing timing, uint64_t delay);

static avr_cycle_count_t finish(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct cosim *sim = param;
    (void)when;
    const uint16_t shown = avr->data[ADMUX] & ADLAR ? (uint16_t)(sim->adc.result << 6) : sim->adc.result;
    avr->data[ADCL] = (uint8_t)shown;
    avr->data[ADCH] = (uint8_t)(shown >> 8);
    sim->adc.converting = false;
    sim->counters.conversions++;
    if (avr->data[ADCSRA] & ADIF) {
        sim->counters.adc_unread++;
    }
    avr->data[ADCSRA] &= (uint8_t)~ADSC;
    avr_raise_interrupt(avr, sim->adc.done);
    if (avr->data[ADCSRA] & ADATE && (avr->data[ADCSRB] & ADTS) == 0) {
        begin(sim, normal, 0);
    }
    return 0;
}

static void begin(struct cosim *sim, struct timing timing, uint64_t delay)
{
    avr_t *avr = sim->avr;
    const uint32_t half = half_clock(avr);
    sim->adc.converting = true;
    sim->adc.first = false;
    avr->data[ADCSRA] |= ADSC;
    avr_cycle_timer_register(avr, delay + 2ULL * half, take_input, sim);
    avr_cycle_timer_register(avr, delay + (uint64_t)timing.sample * half, sample, sim);
    avr_cycle_timer_register(avr, delay + (uint64_t)timing.end * half, finish, sim);
}

void cosim_adc_trigger(struct cosim *sim, int source)
{
    const avr_t *avr = sim->avr;
    if ((avr->data[ADCSRA] & (ADEN | ADATE)) == (ADEN | ADATE) && (avr->data[ADCSRB] & ADTS) == source &&
        !sim->adc.converting) {
        begin(sim, sim->adc.first ? first_one : triggered, 0);
    }
}

/* The loom is asked at once: by the time of the conversion something may have been switched. */
static void hold_now(struct cosim *sim, uint64_t cycle)
{
    sim->adc.hold_cycle = sim->adc.last_hold_cycle = cycle;
    for (int input = 0; input < COSIM_ADC_INPUTS; input++) {
        if (sim->adc.held_inputs >> input & 1U && sim->on_volts) {
            sim->adc.held_volts[input] = held(sim, input, cycle);
        }
    }
}

void cosim_adc_hold(struct cosim *sim, bool hold, uint64_t cycle)
{
    if (!hold) {
        sim->adc.hold_cycle = COSIM_NEVER;
    } else if (sim->adc.hold_cycle == COSIM_NEVER) {
        hold_now(sim, cycle);
    }
}

static void write_adcsra(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    struct cosim *sim = param;
    const uint8_t old = avr->data[addr];
    uint8_t flag = old & ADIF;
    if (value & ADIF) {
        cosim_withdraw(sim, sim->adc.done);
        flag = 0;
    }
    const uint8_t busy = sim->adc.converting ? ADSC : 0;
    avr->data[addr] = (uint8_t)((value & ~(ADIF | ADSC)) | flag | busy);
    if (!(value & ADEN)) {
        avr_cycle_timer_cancel(avr, take_input, sim);
        avr_cycle_timer_cancel(avr, sample, sim);
        avr_cycle_timer_cancel(avr, finish, sim);
        sim->adc.converting = false;
        avr->data[addr] &= (uint8_t)~ADSC;
        return;
    }
    if (!(old & ADEN)) {
        sim->adc.first = true;
    }
    if (value & ADSC && !sim->adc.converting) {
        const uint32_t clock = 2U * half_clock(avr);
        begin(sim, sim->adc.first ? first_one : normal, (clock - avr->cycle % clock) % clock);
    }
}

static void write_plain(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    (void)param;
    avr->data[addr] = value;
}

void cosim_adc_attach(struct cosim *sim, int vector)
{
    sim->adc.done = cosim_vector(sim, vector);
    cosim_own_write(sim, ADCSRA, write_adcsra);
    cosim_own_write(sim, ADCSRB, write_plain);
    cosim_own_write(sim, ADMUX, write_plain);
    cosim_own_read(sim, ADCL, NULL);
    cosim_own_read(sim, ADCH, NULL);
    cosim_own_read(sim, ADCSRA, NULL);
}

void cosim_adc_reset(struct cosim *sim)
{
    sim->adc.converting = false;
    sim->adc.hold_cycle = COSIM_NEVER;
}

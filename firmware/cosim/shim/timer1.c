/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Timer/counter 1 in its normal mode: free running over 16 bits, three comparators, matches exact to the cycle.
 * Comparator B's output pin works the hold switch of the current ranges and starts the converter. */
#include "cosim.h"

enum { TIFR = 0x36, TIMSK = 0x6F, TCCRA = 0x80, TCCRB = 0x81, TCCRC = 0x82, TCNTL = 0x84, TCNTH = 0x85 };
enum { OCRAL = 0x88, OCRAH = 0x89, OCRBL = 0x8A, OCRBH = 0x8B, OCRCL = 0x8C, OCRCH = 0x8D };
enum { TOV = 0x01, FLAGS = 0x0F, FOCB = 0x40, COMB_SHIFT = 4, COM_MASK = 3, COM_CLEAR = 2, COM_SET = 3 };
enum { COMPARATORS = 3, COMP_B = 1, WRAP = 65536, ADTS_COMPB = 5 };

static uint64_t ticks(const struct cosim *sim)
{
    const struct cosim_timer *timer = &sim->timer;
    return timer->divider ? (sim->avr->cycle - timer->base) / timer->divider : 0;
}

static uint16_t count(const struct cosim *sim)
{
    return (uint16_t)(sim->timer.start + ticks(sim));
}

/* Sets the output of comparator B as TCCR1A says. The cycle is that of the match: libsimavr calls after the
 * instruction. */
static void output_b(struct cosim *sim, uint64_t cycle)
{
    const int action = sim->avr->data[TCCRA] >> COMB_SHIFT & COM_MASK;
    if (action == COM_SET) {
        cosim_adc_hold(sim, true, cycle);
    } else if (action == COM_CLEAR) {
        cosim_adc_hold(sim, false, cycle);
    }
}

static avr_cycle_count_t match(struct cosim *sim, avr_cycle_count_t when, int index)
{
    const uint8_t flag = (uint8_t)(2 << index);
    const bool rises = !(sim->avr->data[TIFR] & flag);
    avr_raise_interrupt(sim->avr, sim->timer.comp[index]);
    if (index == COMP_B) {
        output_b(sim, when);
        if (rises) {
            cosim_adc_trigger(sim, ADTS_COMPB);
        }
    }
    return when + (avr_cycle_count_t)WRAP * sim->timer.divider;
}

static avr_cycle_count_t match_a(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    return match(param, when, 0);
}
static avr_cycle_count_t match_b(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    return match(param, when, 1);
}
static avr_cycle_count_t match_c(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    return match(param, when, 2);
}
static const avr_cycle_timer_t matches[COMPARATORS] = {match_a, match_b, match_c};

static avr_cycle_count_t overflow(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct cosim *sim = param;
    avr_raise_interrupt(avr, sim->timer.overflow);
    return when + (avr_cycle_count_t)WRAP * sim->timer.divider;
}

/* Cycles until the tick after the counter equals `value`: that is when the flag rises. */
static avr_cycle_count_t cycles_until_after(const struct cosim *sim, uint16_t value)
{
    const struct cosim_timer *timer = &sim->timer;
    const uint64_t into = (sim->avr->cycle - timer->base) % timer->divider;
    const uint16_t ahead = (uint16_t)(value - count(sim));
    return (avr_cycle_count_t)(ahead + 1U) * timer->divider - into;
}

static void plan(struct cosim *sim, int index)
{
    avr_cycle_timer_cancel(sim->avr, matches[index], sim);
    if (sim->timer.divider && sim->timer.comp[index]) {
        avr_cycle_timer_register(sim->avr, cycles_until_after(sim, sim->timer.ocr[index]), matches[index], sim);
    }
}

static void plan_all(struct cosim *sim)
{
    for (int index = 0; index < COMPARATORS; index++) {
        plan(sim, index);
    }
    avr_cycle_timer_cancel(sim->avr, overflow, sim);
    if (sim->timer.divider) {
        avr_cycle_timer_register(sim->avr, cycles_until_after(sim, WRAP - 1), overflow, sim);
    }
}

static void set_count(struct cosim *sim, uint16_t value)
{
    sim->timer.base = sim->avr->cycle;
    sim->timer.start = value;
    plan_all(sim);
}

static void write_tccrb(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    static const uint16_t dividers[8] = {0, 1, 8, 64, 256, 1024, 0, 0};
    struct cosim *sim = param;
    const uint16_t now = count(sim);
    avr->data[addr] = value;
    sim->timer.divider = dividers[value & 7];
    set_count(sim, now);
}

static void write_tccra(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    (void)param;
    avr->data[addr] = value;
}

static void write_tccrc(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    avr->data[addr] = 0;
    if (value & FOCB) {
        output_b(param, avr->cycle);
    }
}

static void write_high(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    struct cosim *sim = param;
    (void)avr;
    (void)addr;
    sim->timer.temp = value;
}

static void write_tcntl(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    struct cosim *sim = param;
    (void)avr;
    (void)addr;
    set_count(sim, (uint16_t)(sim->timer.temp << 8 | value));
}

static void write_ocrl(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    struct cosim *sim = param;
    const int index = (addr - OCRAL) / 2;
    sim->timer.ocr[index] = (uint16_t)(sim->timer.temp << 8 | value);
    avr->data[addr] = value;
    avr->data[addr + 1] = sim->timer.temp;
    plan(sim, index);
}

static uint8_t read_tcntl(avr_t *avr, avr_io_addr_t addr, void *param)
{
    struct cosim *sim = param;
    const uint16_t now = count(sim);
    (void)addr;
    sim->timer.temp = (uint8_t)(now >> 8);
    avr->data[TCNTH] = sim->timer.temp;
    return (uint8_t)now;
}

static uint8_t read_tcnth(avr_t *avr, avr_io_addr_t addr, void *param)
{
    (void)avr;
    (void)addr;
    return ((struct cosim *)param)->timer.temp;
}

static avr_int_vector_t *vector_of_flag(struct cosim *sim, uint8_t flag)
{
    for (int index = 0; index < COMPARATORS; index++) {
        if (flag == 2 << index) {
            return sim->timer.comp[index];
        }
    }
    return flag == TOV ? sim->timer.overflow : NULL;
}

/* Clears exactly the flags written as one. */
static void write_tifr(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    for (uint8_t flag = TOV; flag & FLAGS; flag = (uint8_t)(flag << 1)) {
        avr_int_vector_t *vector = vector_of_flag(param, flag);
        if (value & flag && vector) {
            cosim_withdraw(param, vector);
            avr->data[addr] &= (uint8_t)~flag;
        }
    }
}

/* Enabling an interrupt whose flag stands raises it at once. */
static void write_timsk(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    avr->data[addr] = value;
    for (uint8_t flag = TOV; flag & FLAGS; flag = (uint8_t)(flag << 1)) {
        avr_int_vector_t *vector = vector_of_flag(param, flag);
        if (vector && value & flag && avr->data[TIFR] & flag) {
            avr_raise_interrupt(avr, vector);
        }
    }
}

void cosim_timer_attach(struct cosim *sim, int compa, int compb, int compc, int over)
{
    const int numbers[COMPARATORS] = {compa, compb, compc};
    for (int index = 0; index < COMPARATORS; index++) {
        sim->timer.comp[index] = numbers[index] ? cosim_vector(sim, numbers[index]) : NULL;
    }
    sim->timer.overflow = cosim_vector(sim, over);
    cosim_own_write(sim, TCCRA, write_tccra);
    cosim_own_write(sim, TCCRB, write_tccrb);
    cosim_own_write(sim, TCCRC, write_tccrc);
    cosim_own_write(sim, TCNTH, write_high);
    cosim_own_write(sim, TCNTL, write_tcntl);
    cosim_own_read(sim, TCNTL, read_tcntl);
    cosim_own_read(sim, TCNTH, read_tcnth);
    for (avr_io_addr_t addr = OCRAL; addr <= OCRCL; addr = (avr_io_addr_t)(addr + 2)) {
        cosim_own_write(sim, (avr_io_addr_t)(addr + 1), write_high);
        cosim_own_write(sim, addr, write_ocrl);
        cosim_own_read(sim, addr, NULL);
    }
    cosim_own_write(sim, TIFR, write_tifr);
    cosim_own_write(sim, TIMSK, write_timsk);
}

void cosim_timer_reset(struct cosim *sim)
{
    sim->timer.divider = 0;
    sim->timer.start = 0;
    sim->timer.base = sim->avr->cycle;
    for (int index = 0; index < COMPARATORS; index++) {
        sim->timer.ocr[index] = 0;
    }
}

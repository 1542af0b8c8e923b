/* SPDX-License-Identifier: MIT */
/* Describes the board to the core, and calls the core's entry points with what the interrupts left. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <string.h>

#include "board.h"
#include "board_config.h"
#include "clock.h"
#include "core.h"
#include "deferred.h"
#include "edge_count.h"
#include "edges.h"
#include "gates.h"
#include "line.h"
#include "sampler.h"
#include "watchdog.h"

#ifndef BUILD_HASH
#define BUILD_HASH 0
#endif
#define BYTES_IN_TURN 4U
#define AIM_EVERY 4U /* milliseconds */
#define FIRMWARE_VERSION "0.1.0"
#define SUPPLY_UV_PER_COUNT 19550UL /* 20 V at 1023 counts */
#define DRAIN_UV_PER_COUNT 58651UL /* 60 V at 1023 counts */

static char serial_number[BOARD_CONFIG_TEXT], calibrated_on[BOARD_CONFIG_DATE];
static struct hal_channel channels[BOARD_CHANNELS];
static uint8_t trace_memory[TRACE_BUFFERS * TRACE_SAMPLES * HAL_TRACE_SET_BYTES];

static struct hal_board board = {
    .board = BOARD_NAME,
    .firmware_version = FIRMWARE_VERSION,
    .build_hash = BUILD_HASH,
    .channel_count = BOARD_CHANNELS,
    .adc_bits = 10,
    .sample_period_ns = SET_NS,
    .sample_period_ticks = SET_TICKS,
    .first_sample_ticks = FIRST_SET_TICKS,
    .first_sample_ns = FIRST_SET_NS,
    .supply_skew_ns = SUPPLY_SKEW_NS,
    .drain_skew_ns = DRAIN_SKEW_NS,
    .supply_min_mv = 6000,
    .supply_max_mv = 18000,
    .supply_uv_per_count = SUPPLY_UV_PER_COUNT,
    .drain_uv_per_count = DRAIN_UV_PER_COUNT,
    .gain_uncertainty_ppm = 2000,
    .noise_counts_x100 = 50, /* of the amplifiers; the console adds the rounding */
    .bias_mv = 2500,
    .bias_ohm = 47000,
    .clamp_mv = 48000,
    .trace_buffers = TRACE_BUFFERS,
    .max_trace_samples = TRACE_SAMPLES,
    .trace_memory = trace_memory,
    .channels = channels,
};

/* --- core.h --------------------------------------------------------------------------------------------------- */

static void work_millisecond(void)
{
    static uint8_t turn;
    watchdog_attended();
    if (++turn % AIM_EVERY == 0) {
        clock_keep_count();
        edges_aim();
    }
    sampler_idle();
    core_tick_1ms();
}

/* Hands the oldest set over, and the over-current that was seen in it; false: there is none. */
static bool work_set(void)
{
    const uint8_t taken = sampler_taken;
    if (!sampler_is_due(taken)) {
        return false;
    }
    struct sampler_set *oldest = &sampler_sets[taken];
    sampler_order_currents(oldest);
    if (oldest->over) {
        core_over_current_isr(&oldest->set, sampler_off_ticks());
    }
    if (oldest->lost) {
        core_sets_lost_isr(oldest->lost);
    }
    if (oldest->in_turn) {
        core_set_isr(&oldest->set);
    }
    sampler_reported(taken);
    return true;
}

/* Reports the oldest of what edges and sampler have done, in the order in which it happened; false when there is
 * nothing. */
static bool work_drive(void)
{
    if (work_set()) {
        return true;
    }
    if (edge_count_reported != edge_count_done) {
        edge_count_reported++;
        core_edge_isr();
        return true;
    }
    return false;
}

static void work_line(void)
{
    uint8_t byte;
    if (line_get(&byte)) {
        core_rx_byte(byte);
    } else {
        core_rx_lost();
    }
}

/* In turn, so that none has to wait for much of another. First the line: a stop may be in it. */
static void work(void)
{
    bool more;
    do {
        more = line_has();
        for (uint8_t left = BYTES_IN_TURN; left > 0 && line_has(); left--) {
            work_line();
        }
        if (watchdog_milliseconds) {
            work_millisecond();
        }
        more |= work_drive();
    } while (more || watchdog_milliseconds);
}

/* The interrupt of deferred.h, after its beginning in isr_entry.S: interrupts are on, it is held. */
void __vector_later(void) __attribute__((signal, used));
void __vector_later(void)
{
    do {
        DEFERRED_FLAGS &= (uint8_t)~_BV(DEFERRED_DUE);
        sei();
        work();
        cli();
    } while (DEFERRED_FLAGS & _BV(DEFERRED_DUE));
    DEFERRED_FLAGS &= (uint8_t)~_BV(DEFERRED_HELD);
}

/* Not part of main, whose frame stays: what is read here is needed once. */
__attribute__((noinline)) static void describe(void)
{
    struct fitting fitting;
    board_config_load(&fitting);
    board.simulated = fitting.simulated;
    memcpy(serial_number, fitting.serial_number, sizeof serial_number);
    memcpy(calibrated_on, fitting.calibrated_on, sizeof calibrated_on);
    board.serial_number = serial_number;
    board.calibrated_on = calibrated_on;
    for (uint8_t index = 0; index < BOARD_CHANNELS; index++) {
        channels[index] = (struct hal_channel){
            .kind = fitting.kinds[index],
            .wide_na_per_count = fitting.wide_na_per_count,
            .wide_offset_x100 = fitting.wide_offset_x100,
            .fine_na_per_count = fitting.fine_na_per_count,
            .fine_offset_x100 = fitting.fine_offset_x100,
        };
    }
}

/* Sleeps until the next interrupt, unless one has just given the core something to do. */
static void rest(void)
{
    cli();
    if (core_idle()) {
        sleep_enable();
        sei(); /* the instruction after it is carried out before any interrupt */
        sleep_cpu();
        sleep_disable();
    }
    sei();
}

int main(void)
{
    watchdog_first();
    gates_begin();
    clock_begin();
    sampler_begin();
    describe();
    core_init(&board, watchdog_was_cause());
    line_begin();
    watchdog_begin();
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    for (;;) {
        core_poll();
        rest();
    }
}

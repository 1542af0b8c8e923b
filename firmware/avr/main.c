/* SPDX-License-Identifier: MIT */
/* The board in the terms of the core: hal.h from the drivers, core.h's entry points from their interrupts. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <string.h>

#include "board.h"
#include "board_config.h"
#include "core.h"
#include "deferred.h"
#include "edges.h"
#include "gates.h"
#include "hal.h"
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
#define TENTHS_K_AT_FULL 5000L /* 5 V at 10 mV/K */
#define ZERO_C_DC 500 /* 0.5 V at 0 degC */

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

/* --- hal.h ---------------------------------------------------------------------------------------------------- */

void hal_all_off(void)
{
    gates_all_off();
}

void hal_kill_gates(bool killed)
{
    gates_kill(killed);
    gates_enable(!killed);
}

uint32_t hal_now_ticks(void)
{
    return edges_now();
}

void hal_edge_at(const struct hal_edge *edge)
{
    edges_plan(edge);
}

void hal_edge_cancel(void)
{
    edges_cancel();
}

void hal_adc_start(uint8_t channel)
{
    sampler_start((uint8_t)(channel - 1U));
}

void hal_adc_stop(void)
{
    sampler_stop();
}

void hal_adc_release(void)
{
    sampler_release();
}

uint16_t hal_supply_counts(void)
{
    return sampler_supply();
}

int16_t hal_temperature_dc(void)
{
    return (int16_t)((int32_t)sampler_temperature() * TENTHS_K_AT_FULL / 1024 - ZERO_C_DC);
}

bool hal_stop_input_open(void)
{
    return watchdog_stop_open();
}

void hal_watchdog_feed(void)
{
    watchdog_feed();
}

uint16_t hal_tx_put(const uint8_t *bytes, uint16_t size)
{
    return line_send(bytes, size);
}

void hal_tx_wait(void)
{
} /* the interrupt drains the ring meanwhile */

uint8_t hal_irq_save(void)
{
    return deferred_hold();
}

void hal_irq_restore(uint8_t saved)
{
    deferred_release(saved);
}

/* --- core.h --------------------------------------------------------------------------------------------------- */

static void work_millisecond(void)
{
    static uint8_t turn;
    watchdog_attended();
    if (++turn % AIM_EVERY == 0) {
        edges_keep_count();
        edges_aim();
    }
    sampler_idle();
    core_tick_1ms();
}

/* Tells the oldest of what edges and sampler have done, in the order in which it happened; false when there is nothing.
 */
static bool work_drive(void)
{
    if (sampler_tell()) {
        return true;
    }
    if (edges_told != edges_done) {
        edges_told++;
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
void deferred_work(void)
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
    edges_begin();
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

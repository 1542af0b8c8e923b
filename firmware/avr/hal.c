/* SPDX-License-Identifier: MIT */
/* The board as the core asks for it. */
#include "hal.h"

#include "clock.h"
#include "deferred.h"
#include "edges.h"
#include "gates.h"
#include "line.h"
#include "sampler.h"
#include "watchdog.h"

#define TENTHS_K_AT_FULL 5000L /* 5 V at 10 mV/K */
#define ZERO_C_DC 500 /* 0.5 V at 0 degC */

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
    return clock_now();
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

uint8_t hal_fault(void)
{
    if (edges_are_overdue()) {
        return HAL_EDGE_OVERDUE;
    }
    return sampler_is_dead() ? HAL_NO_SAMPLE : HAL_WORKS;
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

/* SPDX-License-Identifier: MIT */
/* What the core asks of a board. A port implements every function here and calls the entry points of core.h.
 *
 * Contract of interrupts
 *   [main] functions are called from the main loop only; [isr] ones from interrupt context or with interrupts
 *   held off; [any] ones from both. The core never waits inside an interrupt. Entry points marked [isr] in core.h
 *   must not interrupt one another: on a board with nested interrupts, keep them from nesting.
 * Time is a free-running count of 0.5 us ticks, modulo 2^32; differences are taken modulo 2^32.
 * Channels are numbered from 1, as on the wire. */
#ifndef LOOMPROOF_HAL_H
#define LOOMPROOF_HAL_H

#include <stdbool.h>
#include <stdint.h>

#define HAL_TICKS_PER_US 2U
#define HAL_TICKS_PER_MS 2000U
#define HAL_NS_PER_TICK 500U

/* What an output stage does. A low-side, high-side or logic channel knows OFF and ON; a half-bridge OFF, HIGH, LOW. */
enum hal_drive { HAL_OFF = 0, HAL_ON = 1, HAL_HIGH = 2, HAL_LOW = 3 };

/* --- outputs ---------------------------------------------------------------------------------------------------- */

/* [any] Every output stage off, at once, whatever was switched on before. Safe to call again. */
void hal_all_off(void);

/* [any] true: nothing may be switched on, and the gate drivers lose their supply (at rest, and while stopped). false:
 * give it back (something is about to be driven). The board starts with true. */
void hal_kill_gates(bool killed);

/* --- time and edges --------------------------------------------------------------------------------------------- */

/* [any] Now, in ticks of 0.5 us. */
uint32_t hal_now_ticks(void);

/* A current sample above `counts` in the range that `wide` names is over-current. */
struct hal_limit {
    bool wide;
    uint16_t counts;
};

/* What an edge means to the converter. "Kept": sets go on for the sake of a trace, until hal_adc_release. */
enum hal_sampling {
    HAL_SAMPLING_LEAVE, /* nothing */
    HAL_SAMPLING_PULSE, /* judge by `limit` from here on; sets begin anew, but are not reported, unless they are kept */
    HAL_SAMPLING_SENSE, /* judge by `limit`; sets begin anew, as by hal_adc_start */
    HAL_SAMPLING_TRACE, /* the same, and they are kept; only every `every`-th is reported, the first one first */
    HAL_SAMPLING_LAST, /* judge no more but the sample that was taken last; sets go on */
    HAL_SAMPLING_END, /* the same; no more sets, unless they are kept */
};

/* One thing that the board does by itself, at its very tick. */
struct hal_edge {
    uint32_t at_ticks;
    uint8_t channel; /* output stage that is switched; 0: none */
    uint8_t drive; /* enum hal_drive */
    uint8_t sampling; /* enum hal_sampling */
    uint8_t sampled; /* channel whose sets begin */
    union {
        uint8_t every; /* of a trace's sets, at least 1 */
        uint8_t wait_ticks; /* SENSE: the first set comes so much later */
    };
    struct hal_limit limit;
    /* not 0: one of two edges planned one after the other that come by turns, each again after this */
    uint16_t again_ticks;
    uint16_t times; /* so often again; the first of the two as often as the second, or once more */
};

#define HAL_EDGES_AHEAD 4U /* a power of two */

/* [any] Plan an edge, behind those planned before (HAL_EDGES_AHEAD at most, times never falling, up to 2^25 ticks
 * ahead). The board carries it out at `at_ticks` without asking, and then calls core_edge_isr, once for each; for two
 * that come by turns when both have come for the last time. A time that is now or just past means at once. This is the
 * only way to switch an output on. */
void hal_edge_at(const struct hal_edge *edge);

/* [any] Forget what is planned: when this returns, nothing planned before happens any more. */
void hal_edge_cancel(void);

/* --- converter -------------------------------------------------------------------------------------------------- */

/* One sample set, counts: both current ranges at one instant, supply and drain a little later. */
struct hal_set {
    uint16_t fine;
    uint16_t wide;
    uint16_t supply;
    uint16_t drain;
};

/* [any] Take sample sets of `channel`, one after another, the first current sample board.first_sample_ticks after
 * now and then one set each board.sample_period_ticks, until it is stopped. The board calls core_set_isr for each, or
 * core_sets_lost_isr for what it would have reported and missed.
 * Over-current is the board's own: a sample above the limit of the edge switches everything off (hal_all_off,
 * hal_edge_cancel) as soon as it is converted; then the board calls core_over_current_isr, before the set is handed
 * over. */
void hal_adc_start(uint8_t channel);

/* [any] No more sets; the converter looks after the supply again. Nothing is judged, nothing is kept. */
void hal_adc_stop(void);

/* [any] The trace has all its sets: they end here or, if a pulse is on, are reported no more. */
void hal_adc_release(void);

/* [any] The latest supply reading, counts; at most 2 ms old. Valid before core_init is called. */
uint16_t hal_supply_counts(void);

/* [main] Board temperature, 0.1 degC. */
int16_t hal_temperature_dc(void);

/* --- what stands still -------------------------------------------------------------------------------------------- */

enum hal_fault {
    HAL_WORKS,
    HAL_EDGE_OVERDUE, /* the first planned edge should have come a millisecond ago */
    HAL_NO_SAMPLE, /* no current sample was judged since a pulse began or sets were asked for, or in the last
                      millisecond */
};

/* [isr] Asked each millisecond: enum hal_fault. The core stops when it lasts. */
uint8_t hal_fault(void);

/* --- stop input, watchdog, line --------------------------------------------------------------------------------- */

/* [any] Whether the hardware stop input is open (pressed). It also cuts the gates without this program. */
bool hal_stop_input_open(void);

/* [main] Feed the watchdog. Called by core_poll, if a millisecond was attended to since it was fed last. */
void hal_watchdog_feed(void);

/* [main] Put bytes into the transmit ring, as many as there is room for (at least 32 when idle); returns how many. */
uint16_t hal_tx_put(const uint8_t *bytes, uint16_t size);

/* [main] Wait a little for the transmit ring to drain. */
void hal_tx_wait(void);

/* [any] Hold the entry points of core.h off and return what to give to hal_irq_restore; nests. Edges that are planned
 * and over-current go on meanwhile: they are the board's. */
uint8_t hal_irq_save(void);
void hal_irq_restore(uint8_t saved);

/* --- what the board is (constant after core_init) ----------------------------------------------------------------- */

struct hal_channel {
    uint8_t kind; /* enum wire_channel_kind */
    uint32_t wide_na_per_count;
    int16_t wide_offset_x100; /* hundredths of a count */
    uint32_t fine_na_per_count;
    int16_t fine_offset_x100;
};

struct hal_board {
    const char *board; /* at most 24 bytes */
    const char *serial_number; /* at most 16 bytes */
    const char *firmware_version; /* at most 16 bytes */
    const char *calibrated_on; /* YYYY-MM-DD */
    uint32_t build_hash;
    uint8_t simulated; /* 1: not real hardware; records made with it say so */
    uint8_t channel_count; /* 1..CORE_CHANNELS */
    uint8_t adc_bits; /* 10 */
    uint32_t sample_period_ns;
    uint16_t sample_period_ticks;
    uint16_t first_sample_ticks; /* first current sample after the edge or hal_adc_start */
    int32_t first_sample_ns;
    int16_t supply_skew_ns; /* supply sample after the current sample */
    int16_t drain_skew_ns;
    uint16_t supply_min_mv; /* below it the supply counts as lost */
    uint16_t supply_max_mv;
    uint32_t supply_uv_per_count;
    uint32_t drain_uv_per_count;
    uint16_t gain_uncertainty_ppm;
    uint16_t noise_counts_x100;
    uint16_t bias_mv;
    uint32_t bias_ohm;
    uint32_t clamp_mv;
    uint8_t trace_buffers; /* 2 to CORE_TRACE_BUFFERS: one is being filled, the others are held */
    uint16_t max_trace_samples; /* sample sets in each buffer, at most 600 */
    uint8_t *trace_memory; /* trace_buffers * max_trace_samples * HAL_TRACE_SET_BYTES bytes */
    const struct hal_channel *channels; /* channel_count of them; [0] is channel 1 */
};

#define HAL_TRACE_SET_BYTES 5U /* four 10-bit counts */

#endif

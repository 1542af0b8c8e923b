/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Co-simulation shim: runs an unmodified AVR .elf in libsimavr and puts a converter, a USART and a 16 bit timer that
 * follow the datasheet in place of libsimavr's own, whose timing is too coarse for a box that times pulses.
 * The registers below lie at the same addresses on the ATmega2560 and on the ATmega328P.
 */
#ifndef LOOMPROOF_COSIM_H
#define LOOMPROOF_COSIM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <simavr/sim_avr.h>

#define COSIM_PORTS 12 /* ports A to L; the part decides which exist */
#define COSIM_ADC_INPUTS 16
#define COSIM_BLOCK 257 /* samples foreseen at once */
#define COSIM_SHORT_BLOCK 65 /* the same, soon after something was switched */
#define COSIM_SETTLED 32000 /* cycles from a switching after which the next is not expected soon: 2 ms */
#define COSIM_GRID 64 /* cycles from one foreseen sample to the next of an input that is not held: 4 us */
#define COSIM_RX_QUEUE 65536 /* bytes on their way to the box; a power of two */
#define COSIM_EDGES 262144 /* port changes kept for tests; a power of two */
#define COSIM_NEVER UINT64_MAX

/* One change of the driven pins of a port (PORT and DDR together). */
struct cosim_edge {
    uint64_t cycle;
    uint64_t held; /* cycle of the last hold before */
    uint8_t port; /* 0 is A */
    uint8_t levels; /* driven high */
};

/* Pins of a port changed: levels are the pins driven high. */
typedef void (*cosim_pins_cb)(void *user, uint64_t cycle, int port, int levels);
/* Gives the volts at a converter input at `count` instants first, first + step, ... in cycles. */
typedef void (*cosim_volts_cb)(void *user, int input, uint64_t first, uint64_t step, int count, double *volts);
/* The part was reset. */
typedef void (*cosim_reset_cb)(void *user, uint64_t cycle);

struct cosim_counters {
    uint32_t rx_overruns; /* received bytes lost because nobody read them */
    uint32_t tx_lost; /* written to a full transmit buffer */
    uint32_t resets; /* after power-on */
    uint32_t conversions;
    uint32_t adc_unread; /* conversion finished while the last one's interrupt still waited */
    uint32_t fetches; /* calls of the volts callback */
    uint32_t rx_waiting_most;
    uint32_t halted; /* the program ended itself or crashed */
};

struct cosim_uart {
    avr_int_vector_t *rxc, *udre, *txc;
    uint8_t fifo[3];
    int waiting;
    uint8_t queue[COSIM_RX_QUEUE];
    uint32_t head, tail;
    bool feeding, shifting, buffered;
    uint8_t shift, buffer;
    uint8_t *out;
    size_t out_len, out_size;
    uint64_t last_rx_cycle, last_tx_cycle;
};

struct cosim_timer {
    avr_int_vector_t *comp[3], *overflow;
    uint64_t base; /* cycle at which the counter was `start` */
    uint16_t start;
    uint32_t divider; /* 0: stopped */
    uint16_t ocr[3];
    uint8_t temp;
};

struct cosim_foresight {
    uint64_t first, step, last;
    int count, grow;
    uint32_t epoch;
    double volts[COSIM_BLOCK];
};

struct cosim_adc {
    avr_int_vector_t *done;
    bool converting, first;
    int mux;
    bool mux_high;
    uint16_t result;
    uint64_t hold_cycle; /* COSIM_NEVER: the hold switch tracks */
    uint64_t last_hold_cycle;
    double held_volts[COSIM_ADC_INPUTS];
    uint32_t held_inputs;
    struct cosim_foresight foresight[COSIM_ADC_INPUTS];
};

/* libsimavr's own EEPROM, with its ready interrupt as the datasheet has it: there for as long as it is enabled. */
struct cosim_ready {
    avr_int_vector_t *vector;
    avr_io_write_t write; /* libsimavr's own */
    void *param;
};

struct cosim {
    avr_io_t io; /* first: libsimavr hands it back on reset */
    avr_t *avr;
    void *user;
    cosim_pins_cb on_pins;
    cosim_volts_cb on_volts;
    cosim_reset_cb on_reset;
    struct cosim_uart uart;
    struct cosim_timer timer;
    struct cosim_adc adc;
    struct cosim_ready ready;
    struct cosim_counters counters;
    uint32_t epoch;
    uint64_t epoch_cycle; /* when something was switched last */
    double noise_counts; /* standard deviation of a conversion before it is rounded */
    uint64_t noise_state;
    uint64_t target;
    uint8_t levels[COSIM_PORTS];
    uint8_t inputs[COSIM_PORTS], input_mask[COSIM_PORTS];
    struct cosim_edge edges[COSIM_EDGES];
    uint64_t edge_count;
    bool powered;
};

/* Clears an interrupt's flag and takes it out of the queue of the pending ones. libsimavr's own call leaves it in
 * there; a level that comes and goes while interrupts are off would fill the queue, and push others out for good. */
void cosim_withdraw(struct cosim *sim, avr_int_vector_t *vector);
avr_int_vector_t *cosim_vector(struct cosim *sim, int number);
void cosim_own_write(struct cosim *sim, avr_io_addr_t addr, avr_io_write_t write);
void cosim_own_read(struct cosim *sim, avr_io_addr_t addr, avr_io_read_t read);

void cosim_uart_attach(struct cosim *sim, int rxc, int udre, int txc);
void cosim_uart_reset(struct cosim *sim);
void cosim_uart_kick(struct cosim *sim);
void cosim_timer_attach(struct cosim *sim, int compa, int compb, int compc, int overflow);
void cosim_timer_reset(struct cosim *sim);
void cosim_ready_attach(struct cosim *sim, int vector);
void cosim_adc_attach(struct cosim *sim, int vector);
void cosim_adc_reset(struct cosim *sim);
/* An edge of an automatic trigger source; `source` as in ADTS2:0. */
void cosim_adc_trigger(struct cosim *sim, int source);
/* The hold switch in front of the held inputs opened (hold) or closed (track), at a cycle. */
void cosim_adc_hold(struct cosim *sim, bool hold, uint64_t cycle);

#endif

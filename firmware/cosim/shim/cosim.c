/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One simulated part: loading, running to an instant, pins in and out, resets. The calls without `static` that begin
 * with `lp_` are what the Python side uses. */
#include "cosim.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_eeprom.h>
#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/sim_elf.h>

DEFINE_FIFO(avr_int_vector_p, avr_int_pending);

struct part {
    const char *name;
    int compa, compb, compc, overflow, rxc, udre, txc, adc, ee_ready;
};
/* Interrupt numbers from the datasheets of the parts (reset is 0). */
static const struct part parts[] = {
    {"atmega2560", 17, 18, 19, 20, 25, 26, 27, 29, 30},
    {"atmega328p", 11, 12, 0, 13, 18, 19, 20, 21, 22},
};

avr_int_vector_t *cosim_vector(struct cosim *sim, int number)
{
    avr_int_table_t *table = &sim->avr->interrupts;
    for (int index = 0; index < table->vector_count; index++) {
        if (table->vector[index]->vector == number) {
            return table->vector[index];
        }
    }
    abort();
}

void cosim_withdraw(struct cosim *sim, avr_int_vector_t *vector)
{
    avr_int_pending_t *queue = &sim->avr->interrupts.pending;
    if (vector->pending) {
        for (uint16_t left = avr_int_pending_get_read_size(queue); left; left--) {
            avr_int_vector_t *one = avr_int_pending_read(queue);
            if (one != vector) {
                avr_int_pending_write(queue, one);
            }
        }
    }
    avr_clear_interrupt(sim->avr, vector);
}

void cosim_own_write(struct cosim *sim, avr_io_addr_t addr, avr_io_write_t write)
{
    sim->avr->io[AVR_DATA_TO_IO(addr)].w.c = write;
    sim->avr->io[AVR_DATA_TO_IO(addr)].w.param = sim;
}

void cosim_own_read(struct cosim *sim, avr_io_addr_t addr, avr_io_read_t read)
{
    sim->avr->io[AVR_DATA_TO_IO(addr)].r.c = read;
    sim->avr->io[AVR_DATA_TO_IO(addr)].r.param = sim;
}

static void no_sleep(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr;
    (void)cycles; /* virtual time: nobody waits */
}

static avr_cycle_count_t at_target(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    (void)when;
    (void)param;
    return 0;
}

/* Something outside changed: what was foreseen counts no more. */
void lp_forget(struct cosim *sim)
{
    sim->epoch++;
    sim->epoch_cycle = sim->avr->cycle;
}

static void show_pins(struct cosim *sim, int port, uint8_t levels)
{
    if (levels == sim->levels[port]) {
        return;
    }
    sim->levels[port] = levels;
    lp_forget(sim);
    struct cosim_edge *edge = &sim->edges[sim->edge_count++ % COSIM_EDGES];
    *edge = (struct cosim_edge){sim->avr->cycle, sim->adc.last_hold_cycle, (uint8_t)port, levels};
    if (sim->on_pins) {
        sim->on_pins(sim->user, sim->avr->cycle, port, levels);
    }
}

/* A port's registers were written: each port has its own hook, which knows its number. */
struct hook {
    struct cosim *sim;
    int port;
};

static void port_hook(avr_irq_t *irq, uint32_t value, void *param)
{
    const struct hook *hook = param;
    avr_ioport_state_t state;
    (void)irq;
    (void)value;
    if (avr_ioctl(hook->sim->avr, AVR_IOCTL_IOPORT_GETSTATE('A' + hook->port), &state) == 0) {
        show_pins(hook->sim, hook->port, (uint8_t)(state.port & state.ddr));
    }
}

static void watch_ports(struct cosim *sim)
{
    for (int port = 0; port < COSIM_PORTS; port++) {
        const uint32_t name = AVR_IOCTL_IOPORT_GETIRQ('A' + port);
        avr_irq_t *written = avr_io_getirq(sim->avr, name, IOPORT_IRQ_REG_PORT);
        avr_irq_t *directed = avr_io_getirq(sim->avr, name, IOPORT_IRQ_DIRECTION_ALL);
        if (!written || !directed) {
            continue;
        }
        struct hook *hook = malloc(sizeof *hook);
        if (!hook) {
            abort();
        }
        *hook = (struct hook){sim, port};
        avr_irq_register_notify(written, port_hook, hook);
        avr_irq_register_notify(directed, port_hook, hook);
    }
}

/* Shows the input pins what is outside; it is stronger than a pull-up of the part, now and whenever the port is
 * written. */
static void apply_inputs(struct cosim *sim)
{
    for (int port = 0; port < COSIM_PORTS; port++) {
        avr_ioport_external_t outside = {.name = 'A' + port, .mask = sim->input_mask[port], .value = sim->inputs[port]};
        if (outside.mask) {
            avr_ioctl(sim->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(outside.name), &outside);
        }
        for (int pin = 0; pin < 8; pin++) {
            if (sim->input_mask[port] >> pin & 1) {
                avr_irq_t *irq = avr_io_getirq(sim->avr, AVR_IOCTL_IOPORT_GETIRQ('A' + port), pin);
                const uint32_t level = sim->inputs[port] >> pin & 1;
                if (irq) {
                    avr_raise_irq(irq, !level); /* a level it knows already would be filtered, even after a reset */
                    avr_raise_irq(irq, level);
                }
            }
        }
    }
}

/* libsimavr looks every cycle at each pin that could interrupt by being low, whether or not it may: half of all
 * its time. */
static void calm_level_interrupts(avr_t *avr)
{
    for (int number = 0; number < EXTINT_COUNT; number++) {
        avr_extint_set_strict_lvl_trig(avr, (uint8_t)number, 0);
    }
}

/* After every reset: libsimavr drops its timers and does not say that the pins went to inputs. */
static void on_reset(avr_io_t *io)
{
    struct cosim *sim = (struct cosim *)io;
    cosim_uart_reset(sim);
    cosim_timer_reset(sim);
    cosim_adc_reset(sim);
    calm_level_interrupts(sim->avr);
    for (int port = 0; port < COSIM_PORTS; port++) {
        show_pins(sim, port, 0);
    }
    apply_inputs(sim);
    if (sim->target > sim->avr->cycle) {
        avr_cycle_timer_register(sim->avr, sim->target - sim->avr->cycle, at_target, sim);
    }
    if (!sim->powered) {
        return;
    }
    sim->counters.resets++;
    if (sim->on_reset) {
        sim->on_reset(sim->user, sim->avr->cycle);
    }
}

/* Resets run in the order of this list; the shim's must see the state that the others leave. */
static void attach_last(struct cosim *sim)
{
    avr_io_t **link = &sim->avr->io_port;
    while (*link) {
        link = &(*link)->next;
    }
    sim->io.avr = sim->avr;
    *link = &sim->io;
}

static const struct part *part_of(const char *name)
{
    for (size_t index = 0; index < sizeof parts / sizeof *parts; index++) {
        if (strcmp(parts[index].name, name) == 0) {
            return &parts[index];
        }
    }
    return NULL;
}

/* What libsimavr logs of its work is not for the user of a box; what goes wrong is. */
static void log_errors(struct avr_t *avr, const int level, const char *format, va_list arguments)
{
    (void)avr;
    if (level == LOG_ERROR) {
        (void)vfprintf(stderr, format, arguments);
    }
}

static bool load(struct cosim *sim, const char *path, uint32_t frequency)
{
    static elf_firmware_t firmware;
    memset(&firmware, 0, sizeof firmware);
    if (elf_read_firmware(path, &firmware) != 0) {
        return false;
    }
    firmware.frequency = frequency;
    avr_load_firmware(sim->avr, &firmware);
    return true;
}

/* Returns a powered part with a program, or NULL: unknown part, unreadable file. Inputs in `held_inputs` (a mask of
 * converter inputs) go through the hold switch. */
struct cosim *lp_open(const char *path, const char *name, uint32_t frequency, uint32_t held_inputs, void *user,
                      cosim_pins_cb on_pins, cosim_volts_cb on_volts, cosim_reset_cb on_reset_cb)
{
    const struct part *part = part_of(name);
    struct cosim *sim = part ? calloc(1, sizeof *sim) : NULL;
    if (!sim) {
        return NULL;
    }
    avr_global_logger_set(log_errors);
    sim->avr = avr_make_mcu_by_name(name);
    if (!sim->avr || avr_init(sim->avr) != 0 || !load(sim, path, frequency)) {
        free(sim);
        return NULL;
    }
    sim->avr->log = LOG_ERROR;
    sim->avr->sleep = no_sleep;
    sim->user = user;
    sim->adc.held_inputs = held_inputs;
    cosim_uart_attach(sim, part->rxc, part->udre, part->txc);
    cosim_timer_attach(sim, part->compa, part->compb, part->compc, part->overflow);
    cosim_adc_attach(sim, part->adc);
    cosim_ready_attach(sim, part->ee_ready);
    watch_ports(sim);
    sim->io.kind = "loomproof";
    sim->io.reset = on_reset;
    attach_last(sim);
    sim->on_pins = on_pins;
    sim->on_volts = on_volts;
    sim->on_reset = on_reset_cb;
    avr_reset(sim->avr);
    sim->powered = true;
    return sim;
}

void lp_close(struct cosim *sim)
{
    free(sim->uart.out);
    avr_terminate(sim->avr);
    free(sim);
}

/* Runs until the cycle is reached; returns the cycle it is at, a few beyond at most. */
uint64_t lp_run_to(struct cosim *sim, uint64_t cycle)
{
    avr_t *avr = sim->avr;
    sim->target = cycle;
    if (cycle > avr->cycle) {
        avr_cycle_timer_register(avr, cycle - avr->cycle, at_target, sim);
    }
    while (avr->cycle < cycle && !sim->counters.halted) {
        const int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            sim->counters.halted = 1;
        }
    }
    if (sim->counters.halted && avr->cycle < cycle) {
        avr->cycle = cycle; /* a dead part still ages */
    }
    return avr->cycle;
}

uint64_t lp_cycle(const struct cosim *sim)
{
    return sim->avr->cycle;
}

/* Puts bytes on the line to the part; returns how many found room. */
int lp_send(struct cosim *sim, const uint8_t *bytes, int count)
{
    struct cosim_uart *uart = &sim->uart;
    int taken = 0;
    while (taken < count && uart->head - uart->tail < COSIM_RX_QUEUE) {
        uart->queue[uart->head++ % COSIM_RX_QUEUE] = bytes[taken++];
    }
    cosim_uart_kick(sim);
    return taken;
}

/* Takes up to `size` of the bytes that the part sent. */
int lp_take(struct cosim *sim, uint8_t *bytes, int size)
{
    struct cosim_uart *uart = &sim->uart;
    const size_t count = uart->out_len < (size_t)size ? uart->out_len : (size_t)size;
    if (count) {
        memcpy(bytes, uart->out, count);
        memmove(uart->out, uart->out + count, uart->out_len - count);
        uart->out_len -= count;
    }
    return (int)count;
}

/* Cycle at which the last byte sent to the part had arrived. */
uint64_t lp_last_rx_cycle(const struct cosim *sim)
{
    return sim->uart.last_rx_cycle;
}
uint64_t lp_last_hold_cycle(const struct cosim *sim)
{
    return sim->adc.last_hold_cycle;
}
uint64_t lp_last_tx_cycle(const struct cosim *sim)
{
    return sim->uart.last_tx_cycle;
}

/* Sets what an input pin sees, and keeps it over resets. */
void lp_set_input(struct cosim *sim, int port, int pin, int level)
{
    const uint8_t bit = (uint8_t)(1 << pin);
    sim->input_mask[port] |= bit;
    sim->inputs[port] = level ? sim->inputs[port] | bit : sim->inputs[port] & (uint8_t)~bit;
    apply_inputs(sim);
}

/* Gives every conversion from now on noise of a standard deviation in counts; the same seed gives the same noise. */
void lp_noise(struct cosim *sim, double counts, uint64_t seed)
{
    sim->noise_counts = counts;
    sim->noise_state = seed;
}

void lp_counters(const struct cosim *sim, struct cosim_counters *out)
{
    *out = sim->counters;
}

uint64_t lp_edge_count(const struct cosim *sim)
{
    return sim->edge_count;
}

/* Copies edges from number `first` on; returns how many. Those pushed out of the memory are gone. */
int lp_edges(const struct cosim *sim, uint64_t first, int size, struct cosim_edge *out)
{
    int count = 0;
    const uint64_t oldest = sim->edge_count > COSIM_EDGES ? sim->edge_count - COSIM_EDGES : 0;
    for (uint64_t index = first < oldest ? oldest : first; index < sim->edge_count && count < size; index++) {
        out[count++] = sim->edges[index % COSIM_EDGES];
    }
    return count;
}

/* Makes the program run away to an address, as after a stroke of bad luck. */
void lp_jump(struct cosim *sim, uint32_t byte_address)
{
    sim->avr->pc = byte_address;
    sim->avr->state = cpu_Running;
}

/* Writes a register, as a program gone wrong or a part that fails would. */
void lp_poke(struct cosim *sim, uint32_t address, uint8_t value)
{
    const avr_io_addr_t io = AVR_DATA_TO_IO(address);
    if (io < MAX_IOs && sim->avr->io[io].w.c) {
        sim->avr->io[io].w.c(sim->avr, (avr_io_addr_t)address, value, sim->avr->io[io].w.param);
    } else {
        sim->avr->data[address] = value;
    }
}

uint8_t lp_peek(const struct cosim *sim, uint32_t address)
{
    return sim->avr->data[address];
}

/* Lowest byte of RAM above `from` that no longer holds `pattern`: how deep the stack has reached. */
uint32_t lp_stack_reach(const struct cosim *sim, uint32_t from, uint8_t pattern)
{
    uint32_t address = from;
    while (address <= sim->avr->ramend && sim->avr->data[address] == pattern) {
        address++;
    }
    return address;
}

/* Fills RAM with a pattern. */
void lp_paint(struct cosim *sim, uint32_t from, uint32_t to, uint8_t pattern)
{
    memset(sim->avr->data + from, pattern, to - from);
}

/* Writes the EEPROM, as a programmer would. */
int lp_eeprom(struct cosim *sim, uint32_t offset, const uint8_t *bytes, uint32_t count)
{
    uint8_t copy[4096];
    if (count > sizeof copy) {
        return -1;
    }
    memcpy(copy, bytes, count);
    avr_eeprom_desc_t desc = {.ee = copy, .offset = (uint16_t)offset, .size = count};
    avr_ioctl(sim->avr, AVR_IOCTL_EEPROM_SET, &desc); /* its result says nothing: look */
    avr_eeprom_desc_t seen = {.ee = NULL, .offset = (uint16_t)offset, .size = count};
    avr_ioctl(sim->avr, AVR_IOCTL_EEPROM_GET, &seen);
    return seen.ee && memcmp(seen.ee, bytes, count) == 0 ? 0 : -1;
}

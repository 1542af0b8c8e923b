/* SPDX-License-Identifier: GPL-3.0-or-later */
/* USART0 as the datasheet has it: ten bit times a byte, two received bytes and one in the shift register before one is
 * lost, one byte in the transmit buffer behind the one being sent. */
#include "cosim.h"

#include <stdlib.h>

enum { UCSRA = 0xC0, UCSRB = 0xC1, UBRRL = 0xC4, UBRRH = 0xC5, UDR = 0xC6 };
enum { RXC = 0x80, TXC = 0x40, UDRE = 0x20, DOR = 0x08, U2X = 0x02, MPCM = 0x01, RXEN = 0x10, TXEN = 0x08 };
enum { BITS_PER_BYTE = 10, RX_BUFFERED = 3 };

static uint32_t byte_cycles(const avr_t *avr)
{
    const uint32_t ubrr = avr->data[UBRRL] | (uint32_t)(avr->data[UBRRH] & 0x0F) << 8;
    return BITS_PER_BYTE * (avr->data[UCSRA] & U2X ? 8U : 16U) * (ubrr + 1U);
}

static void show_flags(struct cosim *sim)
{
    avr_t *avr = sim->avr;
    struct cosim_uart *uart = &sim->uart;
    uint8_t flags = avr->data[UCSRA] & (uint8_t)~(RXC | UDRE);
    flags |= uart->waiting ? RXC : 0;
    flags |= uart->buffered ? 0 : UDRE;
    avr->data[UCSRA] = flags;
    if (uart->waiting) {
        avr_raise_interrupt(avr, uart->rxc);
    } else {
        cosim_withdraw(sim, uart->rxc);
        avr->data[UCSRA] &= (uint8_t)~RXC;
    }
    if (!uart->buffered) {
        avr_raise_interrupt(avr, uart->udre);
    } else {
        cosim_withdraw(sim, uart->udre);
        avr->data[UCSRA] &= (uint8_t)~UDRE;
    }
}

static avr_cycle_count_t byte_arrives(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct cosim *sim = param;
    struct cosim_uart *uart = &sim->uart;
    const uint8_t byte = uart->queue[uart->tail++ % COSIM_RX_QUEUE];
    uart->last_rx_cycle = avr->cycle;
    if (avr->data[UCSRB] & RXEN) {
        if (uart->waiting == RX_BUFFERED) {
            sim->counters.rx_overruns++;
            avr->data[UCSRA] |= DOR;
        } else {
            uart->fifo[uart->waiting++] = byte;
            if ((uint32_t)uart->waiting > sim->counters.rx_waiting_most) {
                sim->counters.rx_waiting_most = (uint32_t)uart->waiting;
            }
            show_flags(sim);
        }
    }
    uart->feeding = uart->head != uart->tail;
    return uart->feeding ? when + byte_cycles(avr) : 0;
}

void cosim_uart_kick(struct cosim *sim)
{
    struct cosim_uart *uart = &sim->uart;
    if (!uart->feeding && uart->head != uart->tail) {
        uart->feeding = true;
        avr_cycle_timer_register(sim->avr, byte_cycles(sim->avr), byte_arrives, sim);
    }
}

static void say(struct cosim *sim, uint8_t byte)
{
    struct cosim_uart *uart = &sim->uart;
    if (uart->out_len == uart->out_size) {
        const size_t size = uart->out_size ? 2 * uart->out_size : 4096;
        uint8_t *grown = realloc(uart->out, size);
        if (!grown) {
            abort();
        }
        uart->out = grown;
        uart->out_size = size;
    }
    uart->out[uart->out_len++] = byte;
}

static avr_cycle_count_t byte_sent(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct cosim *sim = param;
    struct cosim_uart *uart = &sim->uart;
    say(sim, uart->shift);
    uart->last_tx_cycle = avr->cycle;
    if (!uart->buffered) {
        uart->shifting = false;
        avr_raise_interrupt(avr, uart->txc);
        return 0;
    }
    uart->shift = uart->buffer;
    uart->buffered = false;
    show_flags(sim);
    return when + byte_cycles(avr);
}

static void write_udr(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    struct cosim *sim = param;
    struct cosim_uart *uart = &sim->uart;
    (void)addr;
    if (!(avr->data[UCSRB] & TXEN)) {
        return;
    }
    if (uart->buffered) {
        sim->counters.tx_lost++;
        return;
    }
    if (uart->shifting) {
        uart->buffer = value;
        uart->buffered = true;
    } else {
        uart->shift = value;
        uart->shifting = true;
        avr_cycle_timer_register(avr, byte_cycles(avr), byte_sent, sim);
    }
    show_flags(sim);
}

static uint8_t read_udr(avr_t *avr, avr_io_addr_t addr, void *param)
{
    struct cosim *sim = param;
    struct cosim_uart *uart = &sim->uart;
    (void)addr;
    const uint8_t byte = uart->fifo[0];
    if (uart->waiting) {
        uart->fifo[0] = uart->fifo[1];
        uart->fifo[1] = uart->fifo[2];
        uart->waiting--;
    }
    avr->data[UCSRA] &= (uint8_t)~DOR;
    show_flags(sim);
    return byte;
}

static void write_ucsra(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    struct cosim *sim = param;
    const uint8_t kept = avr->data[addr] & (uint8_t)~(U2X | MPCM);
    if (value & TXC) {
        cosim_withdraw(sim, sim->uart.txc);
    }
    avr->data[addr] = (uint8_t)((value & TXC ? kept & ~TXC : kept) | (value & (U2X | MPCM)));
}

static void write_ucsrb(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    avr->data[addr] = value;
    show_flags(param);
}

static void write_plain(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    (void)param;
    avr->data[addr] = value;
}

void cosim_uart_attach(struct cosim *sim, int rxc, int udre, int txc)
{
    sim->uart.rxc = cosim_vector(sim, rxc);
    sim->uart.udre = cosim_vector(sim, udre);
    sim->uart.txc = cosim_vector(sim, txc);
    cosim_own_write(sim, UCSRA, write_ucsra);
    cosim_own_write(sim, UCSRB, write_ucsrb);
    cosim_own_write(sim, UBRRL, write_plain);
    cosim_own_write(sim, UBRRH, write_plain);
    cosim_own_write(sim, UDR, write_udr);
    cosim_own_read(sim, UDR, read_udr);
    cosim_own_read(sim, UCSRA, NULL);
}

void cosim_uart_reset(struct cosim *sim)
{
    struct cosim_uart *uart = &sim->uart;
    uart->waiting = 0;
    uart->feeding = uart->shifting = uart->buffered = false;
    sim->avr->data[UCSRA] = UDRE;
    cosim_uart_kick(sim);
}

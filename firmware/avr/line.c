/* SPDX-License-Identifier: MIT */
#include "line.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"

#if defined(__AVR_ATmega328P__)
#define RX_vect USART_RX_vect
#define UDRE_vect USART_UDRE_vect
#else
#define RX_vect USART0_RX_vect
#define UDRE_vect USART0_UDRE_vect
#endif

#define TX_SIZE 128U
#define DIVIDER (CPU_HZ / 8UL / LINE_BAUD - 1UL)
_Static_assert(CPU_HZ / 8UL % LINE_BAUD == 0, "this baud rate is not exact with double speed at 16 MHz");

static uint8_t tx[TX_SIZE];
static volatile uint8_t tx_head, tx_tail;

void line_begin(void) {
    UCSR0A = _BV(U2X0);
    UBRR0 = (uint16_t)DIVIDER;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

static void receive(void) {
    const uint8_t status = UCSR0A;
    const uint8_t byte = UDR0;
    if (status & (_BV(DOR0) | _BV(FE0)))
        line_lost();
    line_byte(byte);
}

ISR(RX_vect) { receive(); }

void line_attend(void) {
    while (UCSR0A & _BV(RXC0))
        receive();
}

ISR(UDRE_vect) {
    if (tx_head == tx_tail) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    } else {
        UDR0 = tx[tx_tail];
        tx_tail = (uint8_t)((tx_tail + 1U) % TX_SIZE);
    }
}

uint8_t line_room(void) { return (uint8_t)((tx_tail + TX_SIZE - tx_head - 1U) % TX_SIZE); }

void line_send(uint8_t byte) {
    tx[tx_head] = byte;
    tx_head = (uint8_t)((tx_head + 1U) % TX_SIZE);
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { UCSR0B |= _BV(UDRIE0); }
}

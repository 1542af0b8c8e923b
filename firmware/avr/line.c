/* SPDX-License-Identifier: MIT */
#include "line.h"

#include <avr/interrupt.h>

#if defined(__AVR_ATmega328P__)
#define RX_vect USART_RX_vect
#define UDRE_vect USART_UDRE_vect
#else
#define RX_vect USART0_RX_vect
#define UDRE_vect USART0_UDRE_vect
#endif

#define DIVIDER (CPU_HZ / 8UL / LINE_BAUD - 1UL)
_Static_assert(CPU_HZ / 8UL % LINE_BAUD == 0, "this baud rate is not exact with double speed at 16 MHz");

struct line_in line_in;

static uint8_t out[LINE_OUT_BYTES];
static volatile uint8_t out_put, out_taken;

void line_begin(void)
{
    UCSR0A = _BV(U2X0);
    UBRR0 = (uint16_t)DIVIDER;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

ISR(RX_vect)
{
    line_take_in();
}

bool line_get(uint8_t *byte)
{
    const uint8_t taken = line_in.taken;
    if (line_in.lost && (line_in.lost_at == taken || taken == line_in.put)) {
        line_in.lost = false;
        return false;
    }
    *byte = line_in.bytes[taken];
    line_in.taken = (uint8_t)((taken + 1U) % LINE_IN_BYTES);
    return true;
}

ISR(UDRE_vect)
{
    const uint8_t taken = out_taken;
    if (out_put == taken) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    } else {
        UDR0 = out[taken];
        out_taken = (uint8_t)((taken + 1U) % LINE_OUT_BYTES);
    }
}

/* Enabling needs no lock: the interrupt may clear the bit between reading and writing only when it has sent all, these
 * bytes included, and then comes once in vain. */
uint16_t line_send(const uint8_t *bytes, uint16_t size)
{
    uint8_t put = out_put;
    uint16_t sent = 0;
    while (sent < size) {
        const uint8_t next = (uint8_t)((put + 1U) % LINE_OUT_BYTES);
        if (next == out_taken) {
            break;
        }
        out[put] = bytes[sent++];
        put = next;
    }
    out_put = put;
    UCSR0B |= _BV(UDRIE0);
    return sent;
}

/* SPDX-License-Identifier: MIT */
/* A program for the co-simulation's own tests: a square wave of 1 ms on A0 from timer 1, every received byte sent back,
 * a conversion of ADC9 on 'a' and of ADC3 on 'b' (two bytes), a wait for the watchdog on 'w', pin D2 on 'i'. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#define HALF_PERIOD_TICKS 1000U /* 0.5 us each */

ISR(TIMER1_COMPA_vect)
{
    OCR1A += HALF_PERIOD_TICKS;
    PINA = 1;
}

static void say(uint8_t byte)
{
    while (!(UCSR0A & _BV(UDRE0)))
        ;
    UDR0 = byte;
}

static void convert(uint8_t admux, uint8_t adcsrb)
{
    ADMUX = admux;
    ADCSRB = adcsrb;
    ADCSRA |= _BV(ADSC);
    while (ADCSRA & _BV(ADSC))
        ;
    const uint16_t counts = ADC;
    say((uint8_t)counts);
    say((uint8_t)(counts >> 8));
}

ISR(USART0_RX_vect)
{
    const uint8_t byte = UDR0;
    if (byte == 'a') {
        convert(_BV(REFS0) | 1, _BV(MUX5));
    } else if (byte == 'b') {
        convert(_BV(REFS0) | 3, 0);
    } else if (byte == 'i') {
        say(PIND & _BV(PD2) ? '1' : '0');
    } else if (byte == 'w') {
        wdt_enable(WDTO_15MS);
        for (;;)
            ;
    } else {
        say(byte);
    }
}

int main(void)
{
    const uint8_t why = MCUSR;
    MCUSR = 0;
    wdt_disable();
    DDRA = 1;
    UCSR0A = _BV(U2X0);
    UBRR0 = 7; /* 250000 baud */
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    ADCSRA = _BV(ADEN) | _BV(ADPS2);
    OCR1A = HALF_PERIOD_TICKS - 1;
    TIMSK1 = _BV(OCIE1A);
    TCCR1B = _BV(CS11);
    say(why & _BV(WDRF) ? 'W' : 'P');
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    for (;;) {
        sleep_mode();
    }
}

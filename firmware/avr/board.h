/* SPDX-License-Identifier: MIT */
/* Wiring of the two boards. Registers at the same address on both parts need no entry here.
 *
 * Analogue: one shunt in the common source line of all channels (one channel is driven at a time), so the two current
 * ranges need one input each and no multiplexer stands between a short and its detection. Only the drains are
 * multiplexed, eight to an input over common address lines, which stand still during a drive; the supply has an input
 * of its own. A pair of track-and-hold switches holds both current ranges at the same instant; it is driven by the
 * output of timer 1's comparator B.
 */
#ifndef BOARD_H
#define BOARD_H

#include <avr/io.h>

#define CPU_HZ 16000000UL

/* Converter inputs. */
#define INPUT_FINE 0
#define INPUT_WIDE 1
#define INPUT_SUPPLY 2
#define INPUT_TEMPERATURE 3
#define INPUT_FIRST_DRAIN 4
#define DRAINS_PER_INPUT 8

/* Stop contact: closed pulls the pin low; open, the pull-up shows high. The same contact feeds the gate drivers,
 * in series with the enable pin. */
#define STOP_PINS PIND
#define STOP_PORT PORTD
#define STOP_BIT 2

#if defined(__AVR_ATmega2560__)
#define BOARD_NAME "mega 16"
#define BOARD_CHANNELS 16
#define BOARD_HIGHEST_KIND WIRE_CHANNEL_KIND_HALF_BRIDGE
#define ADDRESS_PORT PORTB
#define ADDRESS_DDR DDRB
#define ADDRESS_MASK 0x07
#define HOLD_DDR DDRB
#define HOLD_PORT PORTB
#define HOLD_BIT 6
#define ENABLE_DDR DDRH
#define ENABLE_PORT PORTH
#define ENABLE_BIT 3
#define TRACE_BUFFERS 2
#define TRACE_SAMPLES 300
#define LINE_IN_BYTES 128U /* powers of two */
#define LINE_OUT_BYTES 128U
#define SETS_WAITING 32U
#define PIN_TICKS 5U /* from the end of the waiting for an edge to the pins */
#define SHORT_PIN_TICKS 7U /* the same for the end of a pulse that is too short to wait for anew */
#define SAMPLES_EARLY true /* such a pulse's sampling is prepared before it: there is no time in it */
#define SET_US 64 /* four conversions of 13 us, and 3 us for each interrupt */
#elif defined(__AVR_ATmega328P__)
#define BOARD_NAME "four"
#define BOARD_CHANNELS 4
#define BOARD_HIGHEST_KIND WIRE_CHANNEL_KIND_LOGIC /* no upper legs */
#define ADDRESS_PORT PORTB
#define ADDRESS_DDR DDRB
#define ADDRESS_MASK 0x03
#define HOLD_DDR DDRB
#define HOLD_PORT PORTB
#define HOLD_BIT 2
#define ENABLE_DDR DDRC
#define ENABLE_PORT PORTC
#define ENABLE_BIT 5
#define TRACE_BUFFERS 2
#define TRACE_SAMPLES 48
#define LINE_IN_BYTES 32U /* powers of two */
#define LINE_OUT_BYTES 64U
#define SETS_WAITING 4U
#define PIN_TICKS 3U
#define SHORT_PIN_TICKS 4U
#define SAMPLES_EARLY false
#define SET_US 76 /* the core is built for size, and takes longer with each set */
#else
#error "no such board"
#endif

#endif

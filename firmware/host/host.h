/* SPDX-License-Identifier: MIT */
/* The core on a computer: a board in virtual time, with an inductor and a resistor on every channel. For tests.
 * One board in a process. Times are ticks of 0.5 us since host_open. */
#ifndef LOOMPROOF_HOST_H
#define LOOMPROOF_HOST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct host_switch {
    uint64_t at_ticks;
    uint8_t channel;
    uint8_t drive; /* enum hal_drive */
};

/* Power up. Channels 1-11 low-side, 12 high-side, 13 and 14 logic, 15 and 16 half-bridge. Supply 13.5 V, 14 ohm and
 * 14 mH everywhere. */
void host_open(uint8_t channel_count);

/* Whether the core holds every gate off. */
bool host_gates_killed(void);

/* Edges that are planned and have not happened yet. */
uint8_t host_edges_planned(void);

/* Whether sample sets are taken. */
bool host_converting(void);

/* Whether the core has left the entry points held off; never true between two calls. */
bool host_held_off(void);

/* Bytes from the console, now. */
void host_receive(const uint8_t *bytes, size_t size);

/* Let time pass; everything due up to and including `to_ticks` happens at its own time. */
void host_advance(uint64_t to_ticks);

/* Take up to `size` bytes for the console; returns how many. */
size_t host_take(uint8_t *bytes, size_t size);

/* Take up to `size` output changes; returns how many. */
size_t host_take_switches(struct host_switch *switches, size_t size);

/* Hands: stop input, supply, the load of a channel (ohm < 0: contact open), current amplifiers that top out at some
 * counts, a program that hangs. */
void host_stop_input(bool open);
void host_supply(double volts);
void host_load(uint8_t channel, double ohm, double henry);
void host_amplifier_top(double counts);
void host_hang(void);

/* Faults of the board: a driver that conducts whatever it is told, a current reading that is dead. */
void host_stick_driver(uint8_t channel);
void host_deaden_current(uint8_t channel);

/* Interleavings: while it is held, the main loop gets no turn but those of host_poll; interrupts go on, and the
 * watchdog resets it in the end. What dies stays dead until a reset: the millisecond interrupt, the converter, the
 * clock that hal_now_ticks reads, the edges. */
void host_hold(bool held);
void host_poll(void);
void host_ticks_die(void);
void host_converter_sticks(void);
void host_clock_stops(void);
void host_edges_die(void);
uint32_t host_resets(void);

uint64_t host_now(void);

/* What an output does; for the oracle. */
uint8_t host_drive(uint8_t channel);

#endif

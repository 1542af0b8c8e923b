/* SPDX-License-Identifier: MIT */
/* The safety oracle: follows what was sent, what was answered and what every output does, and ends the process when
 * an output is energised that may not be. It knows the rules of docs/protocol.md, not the core. */
#ifndef LOOMPROOF_ORACLE_H
#define LOOMPROOF_ORACLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Power up a board of 16 channels. */
void oracle_open(void);

/* Send a well-formed frame and judge what follows from it. */
void oracle_deliver(uint8_t kind, uint16_t sequence, const uint8_t *body, uint16_t size);

/* Send bytes that are no frame. */
void oracle_noise(const uint8_t *bytes, size_t size);

/* Frames that wait for a main loop that gets no turn, each under a number of its own; then a stop, and the turns:
 * nothing of them may be left. No hello, no configure. */
void oracle_hold(void);
void oracle_queue(uint8_t kind, const uint8_t *body, uint16_t size);
void oracle_release_with_stop(void);

/* Let time pass, judging each half millisecond. */
void oracle_wait(uint32_t ticks);

/* Hands. */
void oracle_stop_input(bool open);
void oracle_supply(bool good);
void oracle_load(uint8_t channel, bool shorted);
void oracle_hang(void);

/* The session and number that a well-behaved console would use next. */
uint32_t oracle_session(void);
uint16_t oracle_next_sequence(void);

/* Dangerous outputs energised so far: a run that has none proves nothing. */
uint64_t oracle_dangerous(void);

#endif

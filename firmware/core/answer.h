/* SPDX-License-Identifier: MIT */
/* The answer to the last request. It is remembered, and sent again when the request is repeated. */
#ifndef LOOMPROOF_ANSWER_H
#define LOOMPROOF_ANSWER_H

#include <stdint.h>

/* All of it [main]. */
void answer_reset(void);

/* How far a sequence number is ahead of that of the last request, modulo 2^16; 0: it is that one. */
uint16_t answer_ahead(uint16_t sequence);

/* [main] A stop came with the number of the console's next request: those before it count as answered. */
void answer_pass_over(uint16_t next);

/* A new request; its answer follows. */
void answer_begin(uint16_t sequence);

/* Where the body of the answer is to be written: room for the largest reply. */
uint8_t *answer_body(void);

/* Send the body written there, and remember it. */
void answer_send(uint8_t kind, uint16_t size);

/* Send the answer again, if it was given. */
void answer_repeat(void);

/* The answer to a request whose work went on after its turn, and its refusal. */
void answer_late(uint16_t sequence, uint8_t kind, const uint8_t *body, uint16_t size);
void answer_refuse_late(uint16_t sequence, uint8_t request_kind, uint8_t reason);

#endif

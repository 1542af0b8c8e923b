/* SPDX-License-Identifier: MIT */
/* Carries out requests: each one is checked in full before anything is switched. */
#ifndef LOOMPROOF_REQUESTS_H
#define LOOMPROOF_REQUESTS_H

#include "receive.h"
#include "refusal.h"

#define REPLY_LATER 0U

/* The reply to a request; a plain ack unless a handler says otherwise. */
struct reply {
    uint8_t kind; /* REPLY_LATER: it follows when the request is done */
    uint16_t size;
    uint8_t *body; /* room for the largest reply */
};

/* [main] Carry out a request, or refuse it. */
struct refusal requests_carry_out(const struct receive_frame *frame, struct reply *reply);

#endif

/* SPDX-License-Identifier: MIT */
/* Carries out requests: each one is checked in full before anything is switched. */
#ifndef LOOMPROOF_REQUESTS_H
#define LOOMPROOF_REQUESTS_H

#include "limits.h"
#include "receive.h"

#define REPLY_LATER 0U

/* The reply to a request; a plain ack unless a handler says otherwise. */
struct reply {
    uint8_t kind; /* REPLY_LATER: it follows when the request is done */
    uint16_t size;
    uint8_t *body; /* room for the largest reply */
};

void requests_reset(const struct hal_board *board);

/* [main] Carry out a request, or refuse it. */
struct refusal requests_carry_out(const struct receive_frame *frame, struct reply *reply);

/* --- for the handlers -------------------------------------------------------------------------------------------- */

struct refusal requests_refused(uint8_t reason, uint32_t detail);

/* What a decoder said, as a refusal. */
struct refusal requests_decoded(uint8_t field);

/* Refuse while stopped, without heartbeat, or without supply. */
struct refusal requests_check_ready(void);

/* Refuse while something is under way. */
struct refusal requests_check_busy(void);

/* Most trace samples that this board can hold. */
uint16_t requests_max_samples(void);

/* Kind of a channel's driver. */
uint8_t requests_kind_of(uint8_t channel);

/* [main] The drives, see drive_requests.c. */
struct refusal drive_requests_train(const struct receive_frame *frame);
struct refusal drive_requests_hold(const struct receive_frame *frame);
struct refusal drive_requests_peak_hold(const struct receive_frame *frame);
struct refusal drive_requests_stepper(const struct receive_frame *frame);
struct refusal drive_requests_bridge(const struct receive_frame *frame);
struct refusal drive_requests_sense(const struct receive_frame *frame);
struct refusal drive_requests_watch(const struct receive_frame *frame);

#endif

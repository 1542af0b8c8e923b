/* SPDX-License-Identifier: MIT */
/* The requests that switch something. Refusals are judged in the order of the protocol page: range, channel, kind,
 * configuration, stop, stop input, heartbeat, supply, trip, arming, busy, limits. */
#ifndef LOOMPROOF_DRIVE_REQUESTS_H
#define LOOMPROOF_DRIVE_REQUESTS_H

#include "receive.h"
#include "refusal.h"

/* All of them [main]. */
struct refusal drive_requests_train(const struct receive_frame *frame);
struct refusal drive_requests_hold(const struct receive_frame *frame);
struct refusal drive_requests_peak_hold(const struct receive_frame *frame);
struct refusal drive_requests_stepper(const struct receive_frame *frame);
struct refusal drive_requests_bridge(const struct receive_frame *frame);
struct refusal drive_requests_sense(const struct receive_frame *frame);
struct refusal drive_requests_watch(const struct receive_frame *frame);

#endif

/* SPDX-License-Identifier: MIT */
/* Frames out. Main loop only. */
#ifndef LOOMPROOF_SEND_H
#define LOOMPROOF_SEND_H

#include <stdbool.h>
#include <stdint.h>

/* Mute events, and count them from 0 again when unmuted: between boot and the first hello, and during a hello. */
void send_mute(void);
void send_unmute(void);

/* Send one frame. Waits for room in the transmit ring, a byte at a time. */
void send_frame(uint8_t kind, uint16_t sequence, const uint8_t *body, uint16_t size);

/* Send an event with its own counter, unless muted. */
void send_event(uint8_t kind, const uint8_t *body, uint16_t size);

#endif

/* SPDX-License-Identifier: MIT
 * The serial line: bytes in by interrupt, bytes out through a ring. 8N1. */
#ifndef LINE_H
#define LINE_H

#include <stdint.h>

#ifndef LINE_BAUD
#define LINE_BAUD 250000UL
#endif

/* Opens the line. */
void line_begin(void);

/* Takes what has come; for an interrupt that has kept the line waiting for long. */
void line_attend(void);

/* To be provided; called in the interrupt. A byte came. */
void line_byte(uint8_t byte);

/* To be provided; called in the interrupt. A byte before the next one was lost or damaged. */
void line_lost(void);

/* Bytes that can be sent without waiting. */
uint8_t line_room(void);

/* Sends a byte; to be called only while there is room. */
void line_send(uint8_t byte);

#endif

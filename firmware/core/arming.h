/* SPDX-License-Identifier: MIT */
/* Arm tokens: one per hazard class, each with its expiry. */
#ifndef LOOMPROOF_ARMING_H
#define LOOMPROOF_ARMING_H

#include <stdbool.h>
#include <stdint.h>

#define ARMING_CLASSES 6U /* `none` included, which is never armed */

void arming_reset(void);

/* [main] Arm a class; a new arming replaces the old one, longer or shorter. */
void arming_arm(uint8_t hazard, uint16_t duration_ms);

/* [any, interrupts off] Classes armed at this instant; bit n is class n. Not any more at its expiry. */
uint8_t arming_valid_mask(uint32_t now_ticks);

/* [main] Lowest class of `hazards` that is not armed; 0 = all are. */
uint8_t arming_missing(uint8_t hazards);

/* [main] Disarm one class, say so, and end a drive that needs it. */
void arming_drop(uint8_t hazard, uint8_t reason);

/* [main] Disarm every class. */
void arming_drop_all(uint8_t reason);

/* [main] Disarm what has run out. */
void arming_expire(void);

/* [main] What is left of a class, ms, rounded up; 0 = not armed. */
uint16_t arming_left_ms(uint8_t hazard);

/* [main] Classes not yet disarmed; bit n is class n. */
uint8_t arming_mask(void);

#endif

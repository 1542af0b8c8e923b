/* The only place that switches an output. Once killed, nothing is switched on until revived. */
#ifndef LOOMPROOF_OUTPUTS_H
#define LOOMPROOF_OUTPUTS_H

#include "hal.h"

/* [main] Everything off; not killed. */
void outputs_reset(void);

/* [any] Set one output stage; ignored while killed, unless it is to OFF. */
void outputs_set(uint8_t channel, enum hal_drive drive);

/* [any] Everything off. */
void outputs_all_off(void);

/* [any] Everything off, the gates' supply cut, until outputs_revive. */
void outputs_kill(void);

/* [main] A stop was cleared: outputs may be switched again. */
void outputs_revive(void);

#endif

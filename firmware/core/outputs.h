/* SPDX-License-Identifier: MIT */
/* The only place that has an output switched. Once killed, nothing is switched on until revived. The gates have their
 * supply only from the planning of a first switch-on until everything is off. */
#ifndef LOOMPROOF_OUTPUTS_H
#define LOOMPROOF_OUTPUTS_H

#include "hal.h"

/* [main] Everything off; not killed. */
void outputs_reset(void);

/* [any] Plan an edge; ignored while killed, unless it is to OFF. */
void outputs_edge_at(const struct hal_edge *edge);

/* [any] Everything off, nothing planned, the gates' supply cut. */
void outputs_all_off(void);

/* [any] The same, and nothing may be switched on until outputs_revive. */
void outputs_kill(void);

/* [main] A stop was cleared: outputs may be switched again. */
void outputs_revive(void);

#endif

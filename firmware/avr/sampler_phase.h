/* SPDX-License-Identifier: MIT */
/* What the converter is at, as bits of GPIOR0, where assembler can look at them without a register. deferred.h has bits
 * 0 and 1. */
#ifndef SAMPLER_PHASE_H
#define SAMPLER_PHASE_H

#define PHASE_FIRST 2 /* the current that is judged */
#define PHASE_SECOND 3 /* the other one */
#define PHASE_DRAIN 4
#define PHASE_SUPPLY 5
#define PHASE_DROP 6 /* a conversion that is not wanted; the set comes next */
#define PHASE_JUDGED 7 /* no phase: a current was, since sampler_is_dead was asked */

#endif

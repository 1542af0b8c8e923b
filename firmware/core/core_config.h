/* SPDX-License-Identifier: MIT */
/* Sizes that a port may lower (-DCORE_...=n) to fit a small memory. */
#ifndef LOOMPROOF_CORE_CONFIG_H
#define LOOMPROOF_CORE_CONFIG_H

/* Channels of the board, at most 16. */
#ifndef CORE_CHANNELS
#define CORE_CHANNELS 16U
#endif

/* Trace buffers, at least 2: one is being filled, the others are held. */
#ifndef CORE_TRACE_BUFFERS
#define CORE_TRACE_BUFFERS 9U
#endif

/* Sample sets of a watch that may wait for the main loop, at most 128. */
#ifndef CORE_WATCH_QUEUE
#define CORE_WATCH_QUEUE 32U
#endif

/* Frames that wait for the main loop, and one. */
#ifndef CORE_FRAME_QUEUE
#define CORE_FRAME_QUEUE 4U
#endif

/* Whether any channel may be one; without, the code for drives of two channels is left out. */
#ifndef CORE_HALF_BRIDGES
#define CORE_HALF_BRIDGES 1
#endif

/* What a slow board needs from the planning of a first edge to the edge, ticks. */
#ifndef CORE_START_TICKS
#define CORE_START_TICKS 0U
#endif

#endif

/* SPDX-License-Identifier: MIT */
#include "edge_count.h"

volatile uint8_t edge_count_ahead;
volatile uint8_t edge_count_done;
volatile uint8_t edge_count_reported;

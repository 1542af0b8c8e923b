/* SPDX-License-Identifier: MIT */
#include "outputs.h"

static volatile bool killed;
static volatile bool supplied; /* the gates are */

static void supply(bool on)
{
    supplied = on;
    hal_kill_gates(!on);
}

void outputs_reset(void)
{
    killed = false;
    outputs_all_off();
}

void outputs_edge_at(const struct hal_edge *edge)
{
    if (!killed || edge->drive == HAL_OFF) {
        if (edge->drive != HAL_OFF && !supplied) {
            supply(true);
        }
        hal_edge_at(edge);
    }
}

/* In this order: an edge that comes in between is undone. */
void outputs_all_off(void)
{
    hal_edge_cancel();
    hal_all_off();
    supply(false);
}

void outputs_kill(void)
{
    killed = true;
    outputs_all_off();
}

void outputs_revive(void)
{
    killed = false;
}

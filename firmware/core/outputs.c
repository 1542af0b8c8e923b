/* SPDX-License-Identifier: MIT */
#include "outputs.h"

static volatile bool killed;

void outputs_reset(void)
{
    killed = false;
    hal_edge_cancel();
    hal_all_off();
    hal_kill_gates(false);
}

void outputs_edge_at(const struct hal_edge *edge)
{
    if (!killed || edge->drive == HAL_OFF) {
        hal_edge_at(edge);
    }
}

/* In this order: an edge that comes in between is undone. */
void outputs_all_off(void)
{
    hal_edge_cancel();
    hal_all_off();
}

void outputs_kill(void)
{
    killed = true;
    hal_edge_cancel();
    hal_all_off();
    hal_kill_gates(true);
}

void outputs_revive(void)
{
    killed = false;
    hal_kill_gates(false);
}

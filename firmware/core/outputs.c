#include "outputs.h"

static volatile bool killed;

void outputs_reset(void)
{
    killed = false;
    hal_all_off();
    hal_kill_gates(false);
}

void outputs_set(uint8_t channel, enum hal_drive drive)
{
    if (!killed || drive == HAL_OFF) {
        hal_gate(channel, drive);
    }
}

void outputs_all_off(void)
{
    hal_all_off();
}

void outputs_kill(void)
{
    killed = true;
    hal_all_off();
    hal_kill_gates(true);
}

void outputs_revive(void)
{
    killed = false;
    hal_kill_gates(false);
}

/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The EEPROM's ready interrupt. libsimavr raises it after a write only; the datasheet has it come for as long as it is
 * enabled and nothing is being written. A program that leaves it enabled in its interrupt would get it once here, and
 * for ever there. */
#include "cosim.h"

enum { EECR = 0x3F };
enum { EERIE = 0x08, EEPE = 0x02 };

static void write_eecr(avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param)
{
    struct cosim *sim = param;
    sim->ready.write(avr, addr, value, sim->ready.param);
    if ((avr->data[addr] & (EERIE | EEPE)) == EERIE) {
        avr_raise_interrupt(avr, sim->ready.vector);
    } else {
        cosim_withdraw(sim, sim->ready.vector);
    }
}

void cosim_ready_attach(struct cosim *sim, int vector)
{
    const avr_io_addr_t io = AVR_DATA_TO_IO(EECR);
    sim->ready.vector = cosim_vector(sim, vector);
    sim->ready.write = sim->avr->io[io].w.c;
    sim->ready.param = sim->avr->io[io].w.param;
    cosim_own_write(sim, EECR, write_eecr);
}

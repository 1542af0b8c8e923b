/* SPDX-License-Identifier: MIT */
/* Constant tables of the core in the flash, for its rom.h. Not gcc's __flash: gcc 5 loses the address space of a
 * pointer that it has rewritten for a loop, and reads the RAM instead. */
#ifndef FLASH_H
#define FLASH_H

#include <avr/pgmspace.h>

#define ROM PROGMEM
#define rom_u8(at) pgm_read_byte(at)
#define rom_u32(at) pgm_read_dword(at)
#define rom_copy(to, from, size) memcpy_P(to, from, size)

#endif

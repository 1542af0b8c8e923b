/* SPDX-License-Identifier: MIT */
/* Constant tables. A part with a program memory of its own keeps them there: its port names a header that defines ROM
 * and the reads (-DCORE_ROM_HEADER='"flash.h"'). Elsewhere a constant is read like anything else. */
#ifndef LOOMPROOF_ROM_H
#define LOOMPROOF_ROM_H

#include <stdint.h>

#ifdef CORE_ROM_HEADER
#include CORE_ROM_HEADER
#else
#include <string.h>

#define ROM
static inline uint8_t rom_u8(const uint8_t *at)
{
    return *at;
}

static inline uint32_t rom_u32(const uint32_t *at)
{
    return *at;
}

#define rom_copy(to, from, size) memcpy(to, from, size)
#endif

#endif

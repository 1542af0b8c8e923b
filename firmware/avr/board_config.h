/* SPDX-License-Identifier: MIT */
/* What differs from one box to the next: its number, its drivers, its calibration. Kept in the EEPROM, written when the
 * box is brought up; an EEPROM without a sound copy means 16 low-side channels at nominal scales. */
#ifndef BOARD_CONFIG_H
#define BOARD_CONFIG_H

#include <stdint.h>

#include "board.h"
#include "hal.h"

#define BOARD_CONFIG_MAGIC 0x504CU /* "LP" */
#define BOARD_CONFIG_TEXT 17
#define BOARD_CONFIG_DATE 11

/* Layout in the EEPROM, from address 0, little-endian, without gaps. */
struct fitting {
    uint16_t magic;
    uint8_t simulated;
    char serial_number[BOARD_CONFIG_TEXT];
    char calibrated_on[BOARD_CONFIG_DATE];
    uint8_t kinds[16]; /* enum wire_channel_kind */
    int16_t fine_offset_x100;
    int16_t wide_offset_x100;
    uint32_t fine_na_per_count;
    uint32_t wide_na_per_count;
    uint16_t crc; /* CRC-16 of the bytes before it (avr-libc's _crc16_update, from 0xFFFF) */
};

/* Reads it. */
void board_config_load(struct fitting *fitting);

#endif

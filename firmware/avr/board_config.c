/* SPDX-License-Identifier: MIT */
#include "board_config.h"

#include <avr/eeprom.h>
#include <stddef.h>
#include <string.h>
#include <util/crc16.h>

#include "wire_gen.h"

#define CRC_START 0xFFFFU
/* Nominal: 5 V / 1024 counts, 10 mohm, amplifiers of 25 (wide) and 250 (fine) on 78 and 29 mV of pedestal; half a count
 * because the converter rounds down. */
#define NOMINAL_FINE_NA 1986097UL
#define NOMINAL_WIDE_NA 19665683UL
#define NOMINAL_FINE_OFFSET_X100 1550
#define NOMINAL_WIDE_OFFSET_X100 550

_Static_assert(sizeof(struct fitting) == 61, "the EEPROM layout has no gaps");

static uint16_t crc_of(const struct fitting *fitting)
{
    const uint8_t *bytes = (const uint8_t *)fitting;
    uint16_t crc = CRC_START;
    for (uint8_t index = 0; index < offsetof(struct fitting, crc); index++) {
        crc = _crc16_update(crc, bytes[index]);
    }
    return crc;
}

static void nominal(struct fitting *fitting)
{
    memset(fitting, 0, sizeof *fitting);
    strcpy(fitting->serial_number, "not fitted");
    strcpy(fitting->calibrated_on, "1970-01-01");
    fitting->fine_offset_x100 = NOMINAL_FINE_OFFSET_X100;
    fitting->wide_offset_x100 = NOMINAL_WIDE_OFFSET_X100;
    fitting->fine_na_per_count = NOMINAL_FINE_NA;
    fitting->wide_na_per_count = NOMINAL_WIDE_NA;
}

void board_config_load(struct fitting *fitting)
{
    eeprom_read_block(fitting, NULL, sizeof *fitting);
    if (fitting->magic != BOARD_CONFIG_MAGIC || fitting->crc != crc_of(fitting)) {
        nominal(fitting);
    }
    for (uint8_t index = 0; index < sizeof fitting->kinds; index++) {
        if (fitting->kinds[index] > BOARD_HIGHEST_KIND) {
            fitting->kinds[index] =
                WIRE_CHANNEL_KIND_LOW_SIDE; /* what this board has there, whatever the EEPROM says */
        }
    }
    fitting->serial_number[BOARD_CONFIG_TEXT - 1] = '\0';
    fitting->calibrated_on[BOARD_CONFIG_DATE - 1] = '\0';
}

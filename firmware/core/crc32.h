/* SPDX-License-Identifier: MIT */
/* CRC-32/ISO-HDLC, a nibble at a time: reflected polynomial 0xEDB88320 (ITU-T V.42; the zlib and Ethernet CRC). */
#ifndef LOOMPROOF_CRC32_H
#define LOOMPROOF_CRC32_H

#include <stdint.h>

#define CRC32_START 0xFFFFFFFFUL
/* What the register holds after data and its own CRC: the receiver's whole check. */
#define CRC32_RESIDUE 0xDEBB20E3UL

/* Return the register after one more byte. The CRC is the complement of the register. */
uint32_t crc32_byte(uint32_t crc, uint8_t byte);

/* Return the register after `size` more bytes. */
uint32_t crc32_bytes(uint32_t crc, const uint8_t *bytes, uint16_t size);

#endif

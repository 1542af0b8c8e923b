/* SPDX-License-Identifier: MIT */
#include "crc32.h"

#include "rom.h"

#define BYTE_BITS 8U
#define NIBBLE_BITS 4U
#define NIBBLE_MASK 0x0FU

/* The remainders of a byte are those of its two halves, exclusive-or: two small tables do, and a small processor shifts
 * by whole bytes only. */
static const uint32_t low_half[16] ROM = {
    0x00000000UL, 0x77073096UL, 0xEE0E612CUL, 0x990951BAUL, 0x076DC419UL, 0x706AF48FUL, 0xE963A535UL, 0x9E6495A3UL,
    0x0EDB8832UL, 0x79DCB8A4UL, 0xE0D5E91EUL, 0x97D2D988UL, 0x09B64C2BUL, 0x7EB17CBDUL, 0xE7B82D07UL, 0x90BF1D91UL,
};
static const uint32_t high_half[16] ROM = {
    0x00000000UL, 0x1DB71064UL, 0x3B6E20C8UL, 0x26D930ACUL, 0x76DC4190UL, 0x6B6B51F4UL, 0x4DB26158UL, 0x5005713CUL,
    0xEDB88320UL, 0xF00F9344UL, 0xD6D6A3E8UL, 0xCB61B38CUL, 0x9B64C2B0UL, 0x86D3D2D4UL, 0xA00AE278UL, 0xBDBDF21CUL,
};

uint32_t crc32_byte(uint32_t crc, uint8_t byte)
{
    uint8_t index = (uint8_t)(crc ^ byte);
    return (crc >> BYTE_BITS) ^ rom_u32(&low_half[index & NIBBLE_MASK]) ^ rom_u32(&high_half[index >> NIBBLE_BITS]);
}

uint32_t crc32_bytes(uint32_t crc, const uint8_t *bytes, uint16_t size)
{
    for (uint16_t i = 0; i < size; i++) {
        crc = crc32_byte(crc, bytes[i]);
    }
    return crc;
}

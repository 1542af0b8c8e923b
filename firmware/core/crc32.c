#include "crc32.h"

#include "rom.h"

#define NIBBLE_BITS 4u
#define NIBBLE_MASK 0x0Fu

static const uint32_t table[16] ROM = {
    0x00000000ul, 0x1DB71064ul, 0x3B6E20C8ul, 0x26D930ACul, 0x76DC4190ul, 0x6B6B51F4ul, 0x4DB26158ul, 0x5005713Cul,
    0xEDB88320ul, 0xF00F9344ul, 0xD6D6A3E8ul, 0xCB61B38Cul, 0x9B64C2B0ul, 0x86D3D2D4ul, 0xA00AE278ul, 0xBDBDF21Cul,
};

uint32_t crc32_byte(uint32_t crc, uint8_t byte)
{
    crc ^= byte;
    crc = (crc >> NIBBLE_BITS) ^ rom_u32(&table[crc & NIBBLE_MASK]);
    return (crc >> NIBBLE_BITS) ^ rom_u32(&table[crc & NIBBLE_MASK]);
}

uint32_t crc32_bytes(uint32_t crc, const uint8_t *bytes, uint16_t size)
{
    for (uint16_t i = 0; i < size; i++) {
        crc = crc32_byte(crc, bytes[i]);
    }
    return crc;
}

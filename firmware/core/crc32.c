#include "crc32.h"

#include "rom.h"

#define BYTE_BITS 8u
#define NIBBLE_BITS 4u
#define NIBBLE_MASK 0x0Fu

/* The remainders of a byte are those of its two halves, exclusive-or: two small tables do, and a small processor shifts by whole
 * bytes only. */
static const uint32_t low_half[16] ROM = {
    0x00000000ul, 0x77073096ul, 0xEE0E612Cul, 0x990951BAul, 0x076DC419ul, 0x706AF48Ful, 0xE963A535ul, 0x9E6495A3ul,
    0x0EDB8832ul, 0x79DCB8A4ul, 0xE0D5E91Eul, 0x97D2D988ul, 0x09B64C2Bul, 0x7EB17CBDul, 0xE7B82D07ul, 0x90BF1D91ul,
};
static const uint32_t high_half[16] ROM = {
    0x00000000ul, 0x1DB71064ul, 0x3B6E20C8ul, 0x26D930ACul, 0x76DC4190ul, 0x6B6B51F4ul, 0x4DB26158ul, 0x5005713Cul,
    0xEDB88320ul, 0xF00F9344ul, 0xD6D6A3E8ul, 0xCB61B38Cul, 0x9B64C2B0ul, 0x86D3D2D4ul, 0xA00AE278ul, 0xBDBDF21Cul,
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

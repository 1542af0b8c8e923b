/* SPDX-License-Identifier: MIT */
#include "wire_codec.h"

#include <stdbool.h>
#include <string.h>

#include "rom.h"
#include "wire_tables.h"

#define ELEMENT_BYTES 0x07U
#define SIGNED 0x10U
#define SIGN_BIT 0x80U
#define BYTE_BITS 8U
#define TAIL_SIZE_BYTES 2U

static uint8_t bytes_of(const struct wire_field *field)
{
    return rom_u8(&field->type) & ELEMENT_BYTES;
}

/* A number in a body; its sign is carried on to 32 bits. */
static uint32_t get(const struct wire_field *field, const uint8_t *at)
{
    uint8_t left = bytes_of(field);
    uint32_t value = (rom_u8(&field->type) & SIGNED) && (at[left - 1U] & SIGN_BIT) ? UINT32_MAX : 0;
    while (left > 0) {
        left--;
        value = (value << BYTE_BITS) | at[left];
    }
    return value;
}

static void put(uint8_t *at, uint8_t bytes, uint32_t value)
{
    for (uint8_t i = 0; i < bytes; i++) {
        at[i] = (uint8_t)(value & 0xFFU);
        value >>= BYTE_BITS;
    }
}

/* A number in a struct, in the order and at the place that the compiler chose. */
static void store(uint8_t *at, uint8_t bytes, uint32_t value)
{
    if (bytes == sizeof(uint8_t)) {
        *at = (uint8_t)value;
    } else if (bytes == sizeof(uint16_t)) {
        uint16_t half = (uint16_t)value;
        memcpy(at, &half, sizeof half);
    } else {
        memcpy(at, &value, sizeof value);
    }
}

static uint32_t load(const uint8_t *at, uint8_t bytes)
{
    uint32_t value = *at;
    if (bytes == sizeof(uint16_t)) {
        uint16_t half;
        memcpy(&half, at, sizeof half);
        value = half;
    } else if (bytes == sizeof(uint32_t)) {
        memcpy(&value, at, sizeof value);
    }
    return value;
}

static bool within(uint8_t range, uint32_t value)
{
    if (range == 0) {
        return true;
    }
    return value - rom_u32(&wire_tables_ranges[range].low) <= rom_u32(&wire_tables_ranges[range].span);
}

static bool decode_numbers(const struct wire_field *field, const uint8_t *body, uint8_t *out)
{
    uint8_t bytes = bytes_of(field);
    uint8_t range = rom_u8(&field->range);
    for (uint8_t i = rom_u8(&field->length); i > 0; i--) {
        uint32_t value = get(field, body);
        store(out, bytes, value);
        if (!within(range, value)) {
            return false;
        }
        body += bytes;
        out += bytes;
    }
    return true;
}

static void encode_numbers(const struct wire_field *field, const uint8_t *in, uint8_t *body)
{
    uint8_t bytes = bytes_of(field);
    for (uint8_t i = rom_u8(&field->length); i > 0; i--) {
        put(body, bytes, load(in, bytes));
        body += bytes;
        in += bytes;
    }
}

uint8_t wire_codec_decode(uint8_t layout, const uint8_t *body, uint16_t size, void *out)
{
    const struct wire_layout *of = &wire_tables_layouts[layout];
    uint8_t bytes = rom_u8(&of->bytes);
    const struct wire_field *field = &wire_tables_fields[rom_u8(&of->first)];
    if (size < bytes || size - bytes > rom_u8(&of->tail_bytes)) {
        return WIRE_WRONG_SIZE;
    }
    for (uint8_t i = 0; i < rom_u8(&of->count); i++) {
        uint8_t type = rom_u8(&field->type);
        uint8_t length = rom_u8(&field->length);
        uint8_t *to = (uint8_t *)out + rom_u8(&field->at);
        if (type == WIRE_TYPE_TAIL) {
            uint16_t tail = (uint16_t)(size - bytes);
            store(to, TAIL_SIZE_BYTES, tail);
            memcpy(to + TAIL_SIZE_BYTES, body, tail);
        } else if (type == WIRE_TYPE_TEXT) {
            memcpy(to, body, length);
        } else if (!decode_numbers(field, body, to)) {
            return i;
        }
        body += (type & ELEMENT_BYTES) * length;
        field++;
    }
    return WIRE_OK;
}

uint16_t wire_codec_encode(uint8_t layout, const void *in, uint8_t *body)
{
    const struct wire_layout *of = &wire_tables_layouts[layout];
    uint8_t bytes = rom_u8(&of->bytes);
    const struct wire_field *field = &wire_tables_fields[rom_u8(&of->first)];
    uint16_t size = bytes;
    for (uint8_t i = 0; i < rom_u8(&of->count); i++) {
        uint8_t type = rom_u8(&field->type);
        uint8_t length = rom_u8(&field->length);
        const uint8_t *from = (const uint8_t *)in + rom_u8(&field->at);
        if (type == WIRE_TYPE_TAIL) {
            uint16_t tail = (uint16_t)load(from, TAIL_SIZE_BYTES);
            memcpy(body, from + TAIL_SIZE_BYTES, tail);
            size = (uint16_t)(size + tail);
        } else if (type == WIRE_TYPE_TEXT) {
            memcpy(body, from, length);
        } else {
            encode_numbers(field, from, body);
        }
        body += (type & ELEMENT_BYTES) * length;
        field++;
    }
    return size;
}

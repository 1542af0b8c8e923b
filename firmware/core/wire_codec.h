/* SPDX-License-Identifier: MIT */
/* The codec of the messages: one interpreter of the generated tables. A message costs its row of four bytes a field,
 * not two functions; the typed calls are in wire_gen.h. */
#ifndef LOOMPROOF_WIRE_CODEC_H
#define LOOMPROOF_WIRE_CODEC_H

#include <stdint.h>

/* What a decoder returns when the body is good; otherwise it is the index of the first field out of its range, or: */
#define WIRE_OK 0xFFU
#define WIRE_WRONG_SIZE 0xFEU

/* How a field is encoded; the low bits are the bytes of one element. */
enum wire_type {
    WIRE_TYPE_U8 = 0x01,
    WIRE_TYPE_U16 = 0x02,
    WIRE_TYPE_U32 = 0x04,
    WIRE_TYPE_I8 = 0x11,
    WIRE_TYPE_I16 = 0x12,
    WIRE_TYPE_I32 = 0x14,
    WIRE_TYPE_TEXT = 0x21, /* as many bytes as its length says, padded with zeros */
    WIRE_TYPE_TAIL = 0x41, /* the rest of the body; in the struct a uint16_t with its size stands before it */
};

struct wire_field {
    uint8_t at; /* where it is in the struct, bytes */
    uint8_t type; /* enum wire_type */
    uint8_t length; /* elements; 1 if it is no array */
    uint8_t range; /* index in wire_ranges */
};

/* Values from `low` to `low + span`, modulo 2^32, so that it serves signed and unsigned fields. The first allows all.
 */
struct wire_range {
    uint32_t low;
    uint32_t span;
};

struct wire_layout {
    uint8_t first; /* index in wire_fields */
    uint8_t count; /* fields */
    uint8_t bytes; /* of the body, without the open-ended field */
    uint8_t tail_bytes; /* the open-ended field's most; 0 without one */
};

/* In ROM; see rom.h. */
extern const struct wire_field wire_fields[];
extern const struct wire_range wire_ranges[];
extern const struct wire_layout wire_layouts[];

/* Decode a body of any size into the struct of a layout and check everything. */
uint8_t wire_decode(uint8_t layout, const uint8_t *body, uint16_t size, void *out);

/* Write the body of a struct; returns its size. Nothing is checked. */
uint16_t wire_encode(uint8_t layout, const void *in, uint8_t *body);

/* Little-endian fields of a body. */
static inline uint16_t wire_get_u16(const uint8_t *at)
{
    return (uint16_t)(at[0] | (uint16_t)((uint16_t)at[1] << 8));
}

static inline uint32_t wire_get_u32(const uint8_t *at)
{
    return (uint32_t)wire_get_u16(at) | ((uint32_t)wire_get_u16(at + 2) << 16);
}

static inline void wire_put_u16(uint8_t *at, uint16_t value)
{
    at[0] = (uint8_t)(value & 0xFFU);
    at[1] = (uint8_t)(value >> 8);
}

static inline void wire_put_u32(uint8_t *at, uint32_t value)
{
    wire_put_u16(at, (uint16_t)(value & 0xFFFFU));
    wire_put_u16(at + 2, (uint16_t)(value >> 16));
}

#endif

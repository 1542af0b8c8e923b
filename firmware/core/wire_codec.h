/* SPDX-License-Identifier: MIT */
/* The codec of the messages: one interpreter of the generated tables. A message costs its row of four bytes a field,
 * not two functions; the typed calls are in wire_messages_gen.h. */
#ifndef LOOMPROOF_WIRE_CODEC_H
#define LOOMPROOF_WIRE_CODEC_H

#include <stdint.h>

/* What a decoder returns when the body is good; otherwise it is the index of the first field out of its range, or: */
#define WIRE_OK 0xFFU
#define WIRE_WRONG_SIZE 0xFEU

/* Decode a body of any size into the struct of a layout and check everything. */
uint8_t wire_codec_decode(uint8_t layout, const uint8_t *body, uint16_t size, void *out);

/* Write the body of a struct; returns its size. Nothing is checked. */
uint16_t wire_codec_encode(uint8_t layout, const void *in, uint8_t *body);

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

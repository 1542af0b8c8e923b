/* SPDX-License-Identifier: MIT */
/* What the codec knows of the messages: a table of fields, of their ranges, of the messages' layouts. */
#ifndef LOOMPROOF_WIRE_TABLES_H
#define LOOMPROOF_WIRE_TABLES_H

#include <stdint.h>

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
    uint8_t range; /* index in wire_tables_ranges */
};

/* Values from `low` to `low + span`, modulo 2^32, so that it serves signed and unsigned fields. The first allows all.
 */
struct wire_range {
    uint32_t low;
    uint32_t span;
};

struct wire_layout {
    uint8_t first; /* index in wire_tables_fields */
    uint8_t count; /* fields */
    uint8_t bytes; /* of the body, without the open-ended field */
    uint8_t tail_bytes; /* the open-ended field's most; 0 without one */
};

/* In ROM; see rom.h. */
extern const struct wire_field wire_tables_fields[];
extern const struct wire_range wire_tables_ranges[];
extern const struct wire_layout wire_tables_layouts[];

#endif

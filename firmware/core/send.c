/* SPDX-License-Identifier: MIT */
#include "send.h"

#include "crc32.h"
#include "hal.h"
#include "wire_codec.h"
#include "wire_gen.h"

#define HEAD_BYTES 3U
#define CRC_BYTES 4U
#define FULL_GROUP 0xFFU
#define GROUP_BYTES 254U
#define COVERED_AT_ONCE 32U

static bool muted;
static uint16_t event_counter;

/* A frame before stuffing, in its three parts. */
struct raw_frame {
    uint8_t head[HEAD_BYTES];
    uint8_t crc[CRC_BYTES];
    const uint8_t *body;
    uint16_t body_size;
    uint16_t size; /* of all three */
    uint16_t covered; /* bytes that running_crc is over */
    uint32_t running_crc;
};

void send_mute(void)
{
    muted = true;
}

void send_unmute(void)
{
    muted = false;
    event_counter = 0;
}

static void put(const uint8_t *bytes, uint16_t size)
{
    for (;;) {
        uint16_t taken = hal_tx_put(bytes, size);
        if (taken == size) {
            return;
        }
        bytes += taken;
        size = (uint16_t)(size - taken);
        hal_tx_wait();
    }
}

/* The bytes from `at` on that lie together, and how many. */
static const uint8_t *part_at(const struct raw_frame *raw, uint16_t at, uint16_t *size)
{
    if (at < HEAD_BYTES) {
        *size = (uint16_t)(HEAD_BYTES - at);
        return raw->head + at;
    }
    at = (uint16_t)(at - HEAD_BYTES);
    if (at < raw->body_size) {
        *size = (uint16_t)(raw->body_size - at);
        return raw->body + at;
    }
    at = (uint16_t)(at - raw->body_size);
    *size = (uint16_t)(CRC_BYTES - at);
    return raw->crc + at;
}

/* Takes the CRC on to a byte of head or body. It keeps pace with the sending, so that the first bytes need not wait for
 * it. */
static void cover(struct raw_frame *raw, uint16_t to)
{
    uint16_t end = (uint16_t)(raw->size - CRC_BYTES);
    to = to < end ? to : end;
    while (raw->covered < to) {
        uint16_t size;
        const uint8_t *bytes = part_at(raw, raw->covered, &size);
        uint16_t left = (uint16_t)(to - raw->covered);
        size = size < left ? size : left;
        raw->running_crc = crc32_bytes(raw->running_crc, bytes, size);
        raw->covered = (uint16_t)(raw->covered + size);
    }
    if (raw->covered == end) {
        wire_put_u32(raw->crc, ~raw->running_crc);
    }
}

/* Bytes before the next zero from `from` on, at most one group's. */
static uint8_t run_length(struct raw_frame *raw, uint16_t from)
{
    uint8_t length = 0;
    while (from < raw->size) {
        uint16_t size;
        if (from >= raw->size - CRC_BYTES) {
            cover(raw, raw->size);
        }
        const uint8_t *bytes = part_at(raw, from, &size);
        for (; size > 0; size--, from++, bytes++, length++) {
            if (*bytes == 0 || length == GROUP_BYTES) {
                return length;
            }
        }
    }
    return length;
}

static void put_raw(const struct raw_frame *raw, uint16_t at, uint8_t length)
{
    while (length > 0) {
        uint16_t size;
        const uint8_t *bytes = part_at(raw, at, &size);
        size = size < length ? size : length;
        put(bytes, size);
        at = (uint16_t)(at + size);
        length = (uint8_t)(length - size);
    }
}

static void put_stuffed(struct raw_frame *raw)
{
    static const uint8_t delimiter = WIRE_DELIMITER;
    uint16_t at = 0;
    bool open = true; /* a group must follow: at the start, and after each zero */
    while (open || at < raw->size) {
        uint8_t length = run_length(raw, at);
        uint8_t code = (uint8_t)(length + 1U);
        put(&code, 1);
        put_raw(raw, at, length);
        at = (uint16_t)(at + length);
        open = length < GROUP_BYTES && at < raw->size; /* stopped at a zero: it is eaten, a group follows */
        if (open) {
            at++;
        }
        if ((uint16_t)(at - raw->covered) >= COVERED_AT_ONCE) {
            cover(raw, at);
        }
    }
    put(&delimiter, 1);
}

void send_frame(uint8_t kind, uint16_t sequence, const uint8_t *body, uint16_t size)
{
    struct raw_frame raw = {.body = body, .body_size = size, .covered = 0, .running_crc = CRC32_START};
    raw.size = (uint16_t)(HEAD_BYTES + size + CRC_BYTES);
    raw.head[0] = kind;
    wire_put_u16(raw.head + 1, sequence);
    put_stuffed(&raw);
}

void send_event(uint8_t kind, const uint8_t *body, uint16_t size)
{
    if (!muted) {
        send_frame(kind, event_counter, body, size);
        event_counter++;
    }
}

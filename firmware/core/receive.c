/* SPDX-License-Identifier: MIT */
#include "receive.h"

#include <string.h>

#include "crc32.h"
#include "hal.h"
#include "wire_codec.h"
#include "wire_gen.h"

#define HEAD_BYTES 3U
#define CRC_BYTES 4U
#define MIN_RAW_BYTES (HEAD_BYTES + CRC_BYTES)
#define MAX_RAW_BYTES (MIN_RAW_BYTES + WIRE_MAX_BODY_BYTES)
#define FULL_GROUP 0xFFU /* a COBS group of 254 bytes: no zero follows it */
/* Longest frame between two delimiters, with the one group byte that a run of exactly 254 may add. */
#define MAX_ENCODED_BYTES (MAX_RAW_BYTES + 1U + MAX_RAW_BYTES / 254U)
#define KEPT_RAW_BYTES (HEAD_BYTES + RECEIVE_KEPT_BODY_BYTES)

static struct {
    uint16_t encoded; /* bytes since the last delimiter */
    uint16_t raw; /* bytes decoded of them */
    uint8_t group; /* code of the COBS group under way */
    uint8_t left; /* bytes of it still to come */
    bool too_long;
    uint32_t crc;
    uint8_t bytes[KEPT_RAW_BYTES];
} now;

static struct {
    struct receive_frame frames[RECEIVE_QUEUE];
    volatile uint8_t put;
    volatile uint8_t taken;
} queue;

static volatile uint16_t bad_frames;
static uint16_t stale_frames;
static volatile uint16_t lost_frames;

static void begin(void)
{
    now.encoded = 0;
    now.raw = 0;
    now.group = FULL_GROUP;
    now.left = 0;
    now.too_long = false;
    now.crc = CRC32_START;
}

void receive_reset(void)
{
    begin();
    queue.put = 0;
    queue.taken = 0;
    bad_frames = 0;
    stale_frames = 0;
    lost_frames = 0;
}

static void decoded(uint8_t byte)
{
    if (now.raw < KEPT_RAW_BYTES) {
        now.bytes[now.raw] = byte;
    }
    now.crc = crc32_byte(now.crc, byte);
    now.raw++;
}

static void inside(uint8_t byte)
{
    if (now.encoded == MAX_ENCODED_BYTES) {
        now.too_long = true;
        return;
    }
    now.encoded++;
    if (now.left > 0) {
        now.left--;
        decoded(byte);
        return;
    }
    if (now.group != FULL_GROUP) {
        decoded(0);
    }
    now.group = byte;
    now.left = (uint8_t)(byte - 1U);
}

static bool good(void)
{
    return !now.too_long && now.left == 0 && now.raw >= MIN_RAW_BYTES && now.raw <= MAX_RAW_BYTES &&
           now.crc == CRC32_RESIDUE;
}

/* The frame that is complete, in the free place of the queue: there is always one, since a full queue is one short of
 * full. */
static const struct receive_frame *completed(void)
{
    struct receive_frame *frame = &queue.frames[queue.put];
    frame->kind = now.bytes[0];
    frame->sequence = wire_get_u16(now.bytes + 1);
    frame->size = (uint16_t)(now.raw - MIN_RAW_BYTES);
    memcpy(frame->body, now.bytes + HEAD_BYTES,
           frame->size < RECEIVE_KEPT_BODY_BYTES ? frame->size : RECEIVE_KEPT_BODY_BYTES);
    return frame;
}

const struct receive_frame *receive_byte(uint8_t byte)
{
    const struct receive_frame *frame = NULL;
    if (byte != WIRE_DELIMITER) {
        inside(byte);
        return frame;
    }
    if (now.encoded > 0 && good()) {
        frame = completed();
    } else if (now.encoded > 0) {
        receive_count_bad();
    }
    begin();
    return frame;
}

void receive_spoil(void)
{
    now.too_long = true; /* counted and dropped at the next delimiter */
}

void receive_keep(uint8_t stops)
{
    uint8_t next = (uint8_t)((queue.put + 1U) % RECEIVE_QUEUE);
    queue.frames[queue.put].stops = stops;
    if (next != queue.taken) {
        queue.put = next;
    } else if (lost_frames < UINT16_MAX) {
        lost_frames++;
    }
}

bool receive_waiting(void)
{
    return queue.taken != queue.put;
}

bool receive_take(struct receive_frame *frame)
{
    if (queue.taken == queue.put) {
        return false;
    }
    *frame = queue.frames[queue.taken];
    queue.taken = (uint8_t)((queue.taken + 1U) % RECEIVE_QUEUE);
    return true;
}

void receive_count_bad(void)
{
    if (bad_frames < UINT16_MAX) {
        bad_frames++;
    }
}

void receive_count_stale(void)
{
    if (stale_frames < UINT16_MAX) {
        stale_frames++;
    }
}

static uint16_t whole(const volatile uint16_t *count)
{
    uint8_t saved = hal_irq_save();
    uint16_t copy = *count;
    hal_irq_restore(saved);
    return copy;
}

uint16_t receive_bad_frames(void)
{
    return whole(&bad_frames);
}

uint16_t receive_stale_frames(void)
{
    return stale_frames;
}

uint16_t receive_lost_frames(void)
{
    return whole(&lost_frames);
}

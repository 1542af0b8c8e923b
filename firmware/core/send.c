#include "send.h"

#include "crc32.h"
#include "hal.h"
#include "wire_gen.h"

#define HEAD_BYTES 3u
#define CRC_BYTES 4u
#define FULL_GROUP 0xFFu
#define GROUP_BYTES 254u

static bool muted;
static uint16_t event_counter;

/* A frame before stuffing, in its three parts. */
struct raw_frame {
    uint8_t head[HEAD_BYTES];
    uint8_t crc[CRC_BYTES];
    const uint8_t *body;
    uint16_t body_size;
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

static void put(uint8_t byte)
{
    while (hal_tx_free() == 0) {
        hal_tx_wait();
    }
    hal_tx_put(byte);
}

static uint8_t raw_at(const struct raw_frame *raw, uint16_t index)
{
    if (index < HEAD_BYTES) {
        return raw->head[index];
    }
    index = (uint16_t)(index - HEAD_BYTES);
    return index < raw->body_size ? raw->body[index] : raw->crc[index - raw->body_size];
}

/* Bytes before the next zero from `from` on, at most one group's. */
static uint8_t run_length(const struct raw_frame *raw, uint16_t from, uint16_t size)
{
    uint8_t length = 0;
    while (length < GROUP_BYTES && from + length < size && raw_at(raw, (uint16_t)(from + length)) != 0) {
        length++;
    }
    return length;
}

static void put_stuffed(const struct raw_frame *raw)
{
    uint16_t size = (uint16_t)(HEAD_BYTES + raw->body_size + CRC_BYTES);
    uint16_t at = 0;
    bool open = true; /* a group must follow: at the start, and after each zero */
    while (open || at < size) {
        uint8_t length = run_length(raw, at, size);
        put((uint8_t)(length + 1u));
        for (uint8_t i = 0; i < length; i++) {
            put(raw_at(raw, (uint16_t)(at + i)));
        }
        at = (uint16_t)(at + length);
        open = length < GROUP_BYTES && at < size; /* stopped at a zero: it is eaten, a group follows */
        if (open) {
            at++;
        }
    }
    put(WIRE_DELIMITER);
}

void send_frame(uint8_t kind, uint16_t sequence, const uint8_t *body, uint16_t size)
{
    struct raw_frame raw = {.body = body, .body_size = size};
    raw.head[0] = kind;
    wire_put_u16(raw.head + 1, sequence);
    wire_put_u32(raw.crc, ~crc32_bytes(crc32_bytes(CRC32_START, raw.head, HEAD_BYTES), body, size));
    put_stuffed(&raw);
}

void send_event(uint8_t kind, const uint8_t *body, uint16_t size)
{
    if (!muted) {
        send_frame(kind, event_counter, body, size);
        event_counter++;
    }
}

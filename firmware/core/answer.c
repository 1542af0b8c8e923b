/* SPDX-License-Identifier: MIT */
#include "answer.h"

#include <string.h>

#include "send.h"
#include "wire_gen.h"
#include "wire_messages_gen.h"

/* The largest reply is a full trace_chunk. */
#define LARGEST_REPLY_BYTES (WIRE_TRACE_CHUNK_BYTES + WIRE_SAMPLES_PER_CHUNK * 8U)

/* Kind 0: still to come. */
static struct {
    uint16_t sequence;
    uint8_t kind;
    uint16_t size;
    uint8_t body[LARGEST_REPLY_BYTES];
} answer;

void answer_reset(void)
{
    memset(&answer, 0, sizeof answer);
}

uint16_t answer_ahead(uint16_t sequence)
{
    return (uint16_t)(sequence - answer.sequence);
}

void answer_pass_over(uint16_t next)
{
    uint16_t ahead = answer_ahead(next);
    if (ahead > 1U && ahead <= WIRE_MAX_STOP_AHEAD) {
        answer_begin((uint16_t)(next - 1U));
    }
}

void answer_begin(uint16_t sequence)
{
    answer.sequence = sequence;
    answer.kind = 0;
    answer.size = 0;
}

uint8_t *answer_body(void)
{
    return answer.body;
}

void answer_send(uint8_t kind, uint16_t size)
{
    answer.kind = kind;
    answer.size = size;
    answer_repeat();
}

void answer_repeat(void)
{
    if (answer.kind != 0) {
        send_frame(answer.kind, answer.sequence, answer.body, answer.size);
    }
}

void answer_late(uint16_t sequence, uint8_t kind, const uint8_t *body, uint16_t size)
{
    send_frame(kind, sequence, body, size);
    if (sequence == answer.sequence) {
        answer.kind = kind;
        answer.size = size;
        memcpy(answer.body, body, size);
    }
}

void answer_refuse_late(uint16_t sequence, uint8_t request_kind, uint8_t reason)
{
    struct wire_refused refused = {.request_kind = request_kind, .reason = reason, .detail = 0};
    uint8_t body[WIRE_REFUSED_BYTES];
    answer_late(sequence, WIRE_KIND_REFUSED, body, wire_encode_refused(&refused, body));
}

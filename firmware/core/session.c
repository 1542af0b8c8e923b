/* SPDX-License-Identifier: MIT */
#include "session.h"

#include "activity.h"
#include "answer.h"
#include "arming.h"
#include "guard.h"
#include "outputs.h"
#include "receive.h"
#include "report.h"
#include "requests.h"
#include "send.h"
#include "wire_messages_gen.h"

#define NO_SESSION 0U
#define NEWEST 0x7FFFU /* sequence numbers up to this far ahead are new; others are old copies */

static volatile uint32_t session;
static volatile bool stop_came; /* and is not answered; */
static volatile uint16_t stop_sequence; /* its number, the last one's if there were several */

void session_reset(void)
{
    session = NO_SESSION;
    stop_came = false;
}

/* In the line's interrupt, so it does without the codec: the session number is all there is. */
static void beat(const struct receive_frame *frame)
{
    if (frame->size != WIRE_HEARTBEAT_BYTES) {
        receive_count_bad();
    } else if (session != NO_SESSION && wire_get_u32(frame->body) == session) {
        guard_beat();
    }
}

void session_frame_isr(const struct receive_frame *frame)
{
    if (frame->kind == WIRE_KIND_HEARTBEAT) {
        beat(frame);
        return;
    }
    if (frame->kind == WIRE_KIND_STOP) {
        guard_stop(WIRE_STOP_REASON_COMMAND);
        stop_sequence = frame->sequence;
        stop_came = true;
        return;
    }
    receive_keep(guard_stops());
}

static void refuse(const struct receive_frame *frame, uint8_t reason, uint32_t detail)
{
    struct wire_refused refused = {.request_kind = frame->kind, .reason = reason, .detail = detail};
    uint8_t body[WIRE_REFUSED_BYTES];
    send_frame(WIRE_KIND_REFUSED, frame->sequence, body, wire_encode_refused(&refused, body));
}

/* Whether a request is to be carried out. A repeat of the last one is answered again, an older one counted. */
static bool is_new(uint16_t sequence)
{
    uint16_t ahead = answer_ahead(sequence);
    if (ahead == 0) {
        answer_repeat();
        return false;
    }
    if (ahead > NEWEST) {
        receive_count_stale();
        return false;
    }
    return true;
}

static void answer_identity(uint16_t sequence)
{
    answer_begin(sequence);
    answer_send(WIRE_KIND_IDENTITY, report_identity(answer_body()));
}

/* All off, everything disarmed, no heartbeat yet. A drive ends without an event. Does not clear a stop. */
static void open_session(uint32_t number)
{
    uint8_t saved = hal_irq_save();
    session = number;
    hal_irq_restore(saved);
    send_mute();
    activity_end(WIRE_END_REASON_CANCELLED);
    send_unmute();
    outputs_all_off();
    arming_drop_all(WIRE_DISARM_REASON_NEW_SESSION);
    guard_new_session();
    report_begin_telemetry();
}

static void hello(const struct receive_frame *frame)
{
    struct wire_hello hello;
    if (frame->size > 0 && frame->body[0] != WIRE_PROTOCOL_MAJOR) {
        refuse(frame, WIRE_REFUSAL_BAD_VERSION, WIRE_PROTOCOL_MAJOR);
        return;
    }
    uint8_t field = wire_decode_hello(frame->body, frame->size, &hello);
    if (field == WIRE_WRONG_SIZE) {
        refuse(frame, WIRE_REFUSAL_UNKNOWN_MESSAGE, 0);
    } else if (field != WIRE_OK) {
        refuse(frame, WIRE_REFUSAL_OUT_OF_RANGE, field);
    } else if (hello.session != session) {
        open_session(hello.session);
        answer_identity(frame->sequence);
    } else if (is_new(frame->sequence)) {
        answer_identity(frame->sequence);
    }
}

/* What the stop ended is reported before its answer. */
static void acknowledge_stop(uint16_t sequence)
{
    uint8_t body[WIRE_ACK_BYTES] = {WIRE_KIND_STOP};
    guard_poll();
    activity_end(WIRE_END_REASON_STOPPED);
    arming_drop_all(WIRE_DISARM_REASON_STOPPED);
    if (session != NO_SESSION) {
        answer_pass_over(sequence);
    }
    send_frame(WIRE_KIND_ACK, sequence, body, WIRE_ACK_BYTES);
}

static void carry_out(const struct receive_frame *frame)
{
    struct reply reply = {.kind = WIRE_KIND_ACK, .size = WIRE_ACK_BYTES, .body = answer_body()};
    answer_begin(frame->sequence);
    struct refusal refusal = requests_carry_out(frame, &reply);
    if (refusal.reason != REFUSAL_NONE) {
        struct wire_refused refused = {.request_kind = frame->kind, .reason = refusal.reason, .detail = refusal.detail};
        reply.kind = WIRE_KIND_REFUSED;
        reply.size = wire_encode_refused(&refused, reply.body);
    } else if (reply.kind == WIRE_KIND_ACK) {
        reply.body[0] = frame->kind;
    }
    if (reply.kind != REPLY_LATER) {
        answer_send(reply.kind, reply.size);
    }
}

static void judge(const struct receive_frame *frame)
{
    if (frame->kind == WIRE_KIND_HELLO) {
        hello(frame);
    } else if (session == NO_SESSION) {
        refuse(frame, WIRE_REFUSAL_NO_SESSION, 0);
    } else if (is_new(frame->sequence)) {
        carry_out(frame);
    }
}

/* Both are taken at one instant: the frame is older than any stop that is not answered before it. */
void session_poll(void)
{
    struct receive_frame frame;
    uint8_t saved = hal_irq_save();
    bool stop = stop_came;
    uint16_t sequence = stop_sequence;
    stop_came = false;
    bool taken = receive_take(&frame);
    hal_irq_restore(saved);
    if (stop) {
        acknowledge_stop(sequence);
    }
    if (taken) {
        judge(&frame);
    }
}

bool session_waiting(void)
{
    return stop_came || receive_waiting();
}

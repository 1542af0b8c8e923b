/* SPDX-License-Identifier: MIT */
#include "guard.h"

#include "activity.h"
#include "arming.h"
#include "outputs.h"
#include "send.h"
#include "trip.h"
#include "wire_messages_gen.h"

#define HEARTBEAT_TIMEOUT_TICKS ((uint32_t)WIRE_HEARTBEAT_TIMEOUT_MS * HAL_TICKS_PER_MS)
#define UV_PER_MV 1000UL
/* What stands still for so long ends everything; and so often the board's clock is held against the milliseconds, which
 * another timer makes, and may be off by half. */
#define FAULT_TICKS (HAL_TICKS_PER_MS * 3U)
#define CLOCK_TURN_MS 16U
#define CLOCK_LEAST_TICKS (HAL_TICKS_PER_MS * CLOCK_TURN_MS / 2U)
#define CLOCK_MOST_TICKS (HAL_TICKS_PER_MS * CLOCK_TURN_MS / 2U * 3U)

static const struct hal_board *board;
static volatile uint8_t reason;
static volatile bool unreported;
static volatile uint8_t stops;
static volatile bool alive;
static volatile uint32_t beat_ticks;
static uint16_t lowest_counts; /* of a good supply */
static uint16_t highest_counts;
static volatile bool supply_good;
static volatile bool supply_unreported;
static volatile uint32_t uptime_ms;
static uint16_t worked_ticks; /* when the board had no fault last */
static uint16_t turn_ticks; /* when the clock was looked at last */

static uint16_t supply_mv_now(void)
{
    uint32_t mv = hal_supply_counts() * board->supply_uv_per_count / UV_PER_MV;
    return (uint16_t)(mv > UINT16_MAX ? UINT16_MAX : mv);
}

/* In counts, since it is asked in interrupts. */
static bool in_range(void)
{
    uint16_t counts = hal_supply_counts();
    return counts >= lowest_counts && counts <= highest_counts;
}

void guard_reset(const struct hal_board *the_board, bool by_watchdog)
{
    board = the_board;
    reason = by_watchdog ? WIRE_STOP_REASON_WATCHDOG : WIRE_STOP_REASON_BOOT;
    unreported = false;
    alive = false;
    uptime_ms = 0;
    worked_ticks = turn_ticks = (uint16_t)hal_now_ticks();
    supply_unreported = false;
    lowest_counts =
        (uint16_t)((board->supply_min_mv * UV_PER_MV + board->supply_uv_per_count - 1U) / board->supply_uv_per_count);
    highest_counts = (uint16_t)(board->supply_max_mv * UV_PER_MV / board->supply_uv_per_count);
    supply_good = in_range();
    if (by_watchdog) {
        outputs_kill();
    }
}

bool guard_stopped(void)
{
    return reason != WIRE_STOP_REASON_NONE && reason != WIRE_STOP_REASON_BOOT;
}

uint8_t guard_reason(void)
{
    return reason;
}

uint8_t guard_stops(void)
{
    return stops;
}

void guard_stop(uint8_t why)
{
    stops++;
    outputs_kill();
    activity_cut(WIRE_END_REASON_STOPPED);
    if (!guard_stopped()) {
        reason = why;
        unreported = true;
    }
}

void guard_fault(uint8_t why)
{
    guard_stop(why);
    reason = why;
    unreported = true;
}

bool guard_faulty(void)
{
    return reason >= WIRE_STOP_REASON_DRIVER_ON;
}

void guard_look_at_stop_input(void)
{
    if (hal_stop_input_open()) {
        guard_stop(WIRE_STOP_REASON_STOP_INPUT);
    }
}

void guard_look_at_supply(void)
{
    bool good = in_range();
    if (good != supply_good) {
        supply_good = good;
        supply_unreported = true;
        if (!good) {
            guard_stop(WIRE_STOP_REASON_SUPPLY);
        }
    }
}

/* Lower halves of the ticks: this comes each millisecond. */
static void look_at_board(uint16_t now)
{
    uint8_t fault = hal_fault();
    if (fault == HAL_WORKS || guard_faulty() || !activity_busy()) { /* at rest look.c judges */
        worked_ticks = now;
    } else if ((uint16_t)(now - worked_ticks) >= FAULT_TICKS) {
        guard_fault(fault == HAL_NO_SAMPLE ? WIRE_STOP_REASON_CONVERTER : WIRE_STOP_REASON_TIMER);
    }
    if (uptime_ms % CLOCK_TURN_MS == 0) {
        uint16_t moved = (uint16_t)(now - turn_ticks);
        turn_ticks = now;
        if (!guard_faulty() && (moved < CLOCK_LEAST_TICKS || moved > CLOCK_MOST_TICKS)) {
            guard_fault(WIRE_STOP_REASON_TIMER);
        }
    }
}

void guard_tick(uint32_t now_ticks)
{
    uptime_ms++;
    look_at_board((uint16_t)now_ticks);
    if (alive && now_ticks - beat_ticks >= HEARTBEAT_TIMEOUT_TICKS) {
        alive = false;
        guard_stop(WIRE_STOP_REASON_HEARTBEAT);
    }
    guard_look_at_stop_input();
    guard_look_at_supply();
    uint8_t hazards = activity_hazards();
    if (hazards != 0 && (hazards & ~arming_valid_mask(now_ticks))) {
        activity_cut(WIRE_END_REASON_DISARMED);
    }
}

void guard_beat(void)
{
    beat_ticks = hal_now_ticks();
    alive = true;
}

bool guard_alive(void)
{
    return alive;
}

void guard_new_session(void)
{
    uint8_t saved = hal_irq_save();
    alive = false;
    if (reason == WIRE_STOP_REASON_BOOT) {
        reason = WIRE_STOP_REASON_NONE;
    }
    hal_irq_restore(saved);
}

bool guard_clear(uint8_t seen)
{
    uint8_t saved = hal_irq_save();
    bool newest = seen == stops && !unreported;
    if (newest) {
        reason = WIRE_STOP_REASON_NONE;
        outputs_revive();
    }
    hal_irq_restore(saved);
    return newest;
}

static void report_stop(void)
{
    uint8_t body[WIRE_STOPPED_BYTES];
    struct wire_stopped event = {.reason = reason};
    bool by_supply = reason == WIRE_STOP_REASON_SUPPLY;
    activity_end(WIRE_END_REASON_STOPPED);
    trip_announce(); /* names the channel before the reason that it gives */
    arming_drop_all(by_supply ? WIRE_DISARM_REASON_SUPPLY_LOST : WIRE_DISARM_REASON_STOPPED);
    send_event(WIRE_KIND_STOPPED, body, wire_encode_stopped(&event, body));
}

static void report_supply(void)
{
    uint8_t body[WIRE_SUPPLY_EVENT_BYTES];
    struct wire_supply_event event = {.present = supply_good, .supply_mv = guard_supply_mv()};
    send_event(WIRE_KIND_SUPPLY_EVENT, body, wire_encode_supply_event(&event, body));
}

void guard_poll(void)
{
    uint8_t saved = hal_irq_save();
    bool stop = unreported;
    bool supply = supply_unreported;
    unreported = false;
    supply_unreported = false;
    hal_irq_restore(saved);
    if (stop) {
        report_stop();
    }
    if (supply) {
        report_supply();
    }
    arming_expire();
}

uint16_t guard_supply_mv(void)
{
    return supply_mv_now();
}

bool guard_supply_good(void)
{
    return supply_good;
}

uint32_t guard_uptime_ms(void)
{
    uint8_t saved = hal_irq_save();
    uint32_t ms = uptime_ms;
    hal_irq_restore(saved);
    return ms;
}

struct refusal guard_check_ready(void)
{
    if (guard_stopped()) {
        return refusal_of(WIRE_REFUSAL_STOPPED, guard_reason());
    }
    if (hal_stop_input_open()) {
        return refusal_of(WIRE_REFUSAL_STOP_INPUT_OPEN, 0);
    }
    if (!guard_alive()) {
        return refusal_of(WIRE_REFUSAL_NO_HEARTBEAT, 0);
    }
    if (!guard_supply_good()) {
        return refusal_of(WIRE_REFUSAL_SUPPLY_OUT_OF_RANGE, guard_supply_mv());
    }
    return refusal_none();
}

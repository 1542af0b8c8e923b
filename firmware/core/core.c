/* SPDX-License-Identifier: MIT */
#include "core.h"

#include <stddef.h>

#include "activity.h"
#include "answer.h"
#include "arming.h"
#include "drive.h"
#include "guard.h"
#include "limits.h"
#include "look.h"
#include "outputs.h"
#include "receive.h"
#include "report.h"
#include "rest.h"
#include "rom.h"
#include "scan.h"
#include "send.h"
#include "session.h"
#include "trace.h"
#include "trip.h"
#include "watch.h"

/* Where the events of each activity go. */
static const struct activity_handlers handlers[] ROM = {
    [ACTIVITY_DRIVE] = {.edge = drive_edge,
                        .over_current = drive_over_current,
                        .set = drive_set,
                        .lost = drive_lost,
                        .ended = drive_report_end},
    [ACTIVITY_SCAN] = {.edge = scan_edge,
                       .over_current = scan_over_current,
                       .set = scan_set,
                       .lost = scan_lost,
                       .ended = scan_report_end},
    [ACTIVITY_WATCH] = {.over_current = watch_over_current,
                        .set = watch_set,
                        .lost = watch_lost,
                        .tick = watch_tick,
                        .poll = watch_look,
                        .ended = watch_report_end},
};

/* A millisecond was attended to since the watchdog was fed. */
static volatile bool ticked;

void core_init(const struct hal_board *board, bool by_watchdog)
{
    outputs_reset();
    receive_reset();
    send_mute();
    limits_reset(board);
    arming_reset();
    trace_reset(board);
    activity_reset(handlers);
    trip_reset(board);
    rest_reset();
    drive_reset();
    scan_reset(board);
    look_reset(board);
    watch_reset(board);
    guard_reset(board, by_watchdog);
    report_reset(board);
    answer_reset();
    session_reset();
}

void core_rx_byte(uint8_t byte)
{
    const struct receive_frame *frame = receive_byte(byte);
    if (frame != NULL) {
        session_frame_isr(frame);
    }
}

void core_rx_lost(void)
{
    receive_spoil();
}

void core_tick_1ms(void)
{
    uint32_t now_ticks = hal_now_ticks();
    ticked = true;
    guard_tick(now_ticks);
    activity_tick(now_ticks);
    look_tick(activity_busy());
}

void core_edge_isr(void)
{
    activity_edge();
}

void core_over_current_isr(const struct hal_set *set, uint32_t off_ticks)
{
    activity_over_current(set, off_ticks);
}

void core_set_isr(const struct hal_set *set)
{
    if (activity_busy()) {
        activity_set(set);
    } else {
        look_set(set);
    }
}

void core_sets_lost_isr(uint8_t count)
{
    activity_lost(count);
}

void core_stop_input_isr(void)
{
    guard_look_at_stop_input();
}

void core_supply_isr(void)
{
    guard_look_at_supply();
}

void core_poll(void)
{
    if (ticked) { /* without the millisecond nothing would end a drive */
        ticked = false;
        hal_watchdog_feed();
    }
    guard_poll();
    activity_poll();
    rest_poll();
    report_poll();
    session_poll();
}

bool core_idle(void)
{
    return !activity_busy() && !session_waiting();
}

/* SPDX-License-Identifier: MIT */
/* A core of a few lines in the place of the real one, to prove the AVR port alone. Commands, one byte each:
 *   t  20 pulses of 100 us on channel 3 every 1000 us, each sampled from its edge on
 *   l  3 pulses of 100 ms on channel 12 every 150 ms
 *   s  one pulse of 20 ms on channel 3, to be ended by the limit of 200 counts in the fine range
 *   r  sends the sets of the last pulse: fine, wide, supply, drain, little-endian, then 'e'
 *   o  sends how often over-current was reported, and the ticks from the last pulse's edge to it, four bytes
 *   k  switches channel 3 on and hangs the main loop; the 1 ms interrupt switches it off after 5 ms
 *   h  switches channel 3 on and hangs everything
 *   i  sends the identity: kind of channel 2, simulated, first letter of the serial number, channel count
 */
#include <avr/interrupt.h>
#include <stddef.h>

#include "core.h"

#define SETS 8

static const struct hal_board *board;
static volatile uint8_t command, watchdog, sets, overs;
static volatile uint16_t kill_ms;
static struct hal_edge next;
static uint32_t on_ticks, period_ticks, began, over_ticks;
static uint8_t pulses_to_plan;
static struct hal_set kept[SETS];

void core_init(const struct hal_board *given, bool by_watchdog)
{
    board = given;
    watchdog = by_watchdog;
    hal_kill_gates(false);
}

void core_rx_byte(uint8_t byte)
{
    command = byte;
}
void core_rx_lost(void)
{
}
bool core_idle(void)
{
    return command == 0;
}

void core_tick_1ms(void)
{
    if (kill_ms && --kill_ms == 0) {
        hal_all_off();
    }
}

static void plan_pulse(void)
{
    if (pulses_to_plan == 0) {
        return;
    }
    pulses_to_plan--;
    began = next.at_ticks;
    next.drive = HAL_ON;
    next.sampling = HAL_SAMPLING_SENSE;
    hal_edge_at(&next);
    next.at_ticks += on_ticks;
    next.drive = HAL_OFF;
    next.sampling = HAL_SAMPLING_LAST;
    hal_edge_at(&next);
    next.at_ticks += period_ticks - on_ticks;
}

static uint8_t edges;

void core_edge_isr(void)
{
    if (edges++ % 2 == 0) {
        sets = 0;
    } else {
        plan_pulse();
    }
}

void core_over_current_isr(const struct hal_set *set, uint32_t off_ticks)
{
    (void)set;
    overs++;
    over_ticks = off_ticks - began;
}

void core_set_isr(const struct hal_set *set)
{
    if (sets < SETS) {
        kept[sets++] = *set;
    } else {
        hal_adc_stop();
    }
}

void core_sets_lost_isr(uint8_t count)
{
    (void)count;
}

static void train(uint8_t channel, uint8_t count, uint32_t on_us, uint32_t period_us, uint16_t limit)
{
    const uint8_t held = hal_irq_save();
    edges = 0;
    next = (struct hal_edge){.channel = channel, .sampled = channel, .limit = {.wide = false, .counts = limit}};
    on_ticks = on_us * HAL_TICKS_PER_US;
    period_ticks = period_us * HAL_TICKS_PER_US;
    next.at_ticks = hal_now_ticks() + HAL_TICKS_PER_MS;
    pulses_to_plan = count;
    plan_pulse();
    hal_irq_restore(held);
}

static void say(uint8_t byte)
{
    while (!hal_tx_put(&byte, 1)) {
        hal_tx_wait();
    }
}

static void say_word(uint16_t word)
{
    say((uint8_t)word);
    say((uint8_t)(word >> 8));
}

static void report(void)
{
    for (uint8_t set = 0; set < sets; set++) {
        say_word(kept[set].fine);
        say_word(kept[set].wide);
        say_word(kept[set].supply);
        say_word(kept[set].drain);
    }
    say('e');
}

static void report_over(void)
{
    say(overs);
    say_word((uint16_t)over_ticks);
    say_word((uint16_t)(over_ticks >> 16));
}

static void hang(bool everything)
{
    struct hal_edge on = {.at_ticks = hal_now_ticks(), .channel = 3, .drive = HAL_ON};
    hal_edge_at(&on);
    kill_ms = everything ? 0 : 5;
    while (hal_now_ticks() - on.at_ticks < HAL_TICKS_PER_MS / 4U)
        ;
    if (everything) {
        cli();
    }
    for (;;)
        ;
}

static void identify(void)
{
    say(board->channels[1].kind);
    say(board->simulated);
    say((uint8_t)board->serial_number[0]);
    say(board->channel_count);
}

void core_poll(void)
{
    const uint8_t now = command;
    hal_watchdog_feed();
    command = 0;
    if (watchdog) {
        watchdog = 0;
        say('W');
    }
    if (now == 't') {
        train(3, 20, 100, 1000, UINT16_MAX);
    }
    if (now == 'l') {
        train(12, 3, 100000, 150000, UINT16_MAX);
    }
    if (now == 's') {
        train(3, 1, 20000, 50000, 200);
    }
    if (now == 'r') {
        report();
    }
    if (now == 'o') {
        report_over();
    }
    if (now == 'i') {
        identify();
    }
    if (now == 'k' || now == 'h') {
        hang(now == 'h');
    }
}

/* A core of a few lines in the place of the real one, to prove the AVR port alone. Commands, one byte each:
 *   t  20 pulses of 100 us on channel 3 every 1000 us, each sampled from its edge on
 *   l  3 pulses of 100 ms on channel 12 every 150 ms
 *   r  sends the sets of the last pulse: fine, wide, supply, drain, little-endian, then 'e'
 *   k  switches channel 3 on and hangs the main loop; the 1 ms interrupt switches it off after 5 ms
 *   h  switches channel 3 on and hangs everything
 *   i  sends the identity: kind of channel 2, simulated, first letter of the serial number, channel count
 */
#include <avr/interrupt.h>
#include <stddef.h>

#include "core.h"

#define SETS 8

static const struct hal_board *board;
static volatile uint8_t command, watchdog, channel, sets;
static volatile uint8_t pulses_left;
static volatile uint8_t on;
static volatile uint16_t kill_ms;
static uint32_t edge, on_ticks, period_ticks;
static uint16_t kept[SETS][4];

void core_init(const struct hal_board *given, bool by_watchdog) {
    board = given;
    watchdog = by_watchdog;
    hal_kill_gates(false);
}

void core_rx_byte(uint8_t byte) { command = byte; }
void core_rx_lost(void) {}
bool core_idle(void) { return command == 0; }

void core_tick_1ms(void) {
    if (kill_ms && --kill_ms == 0)
        hal_all_off();
}

void core_edge_isr(void) {
    if (on) {
        hal_gate(channel, HAL_OFF);
        on = 0;
        pulses_left--;
        edge += period_ticks - on_ticks;
    } else {
        hal_gate(channel, HAL_ON);
        on = 1;
        sets = 0;
        hal_adc_start(channel);
        edge += on_ticks;
    }
    if (pulses_left)
        hal_edge_at(edge);
}

void core_adc_current_isr(uint16_t fine, uint16_t wide) {
    if (sets < SETS) {
        kept[sets][0] = fine;
        kept[sets][1] = wide;
    }
}

void core_adc_rest_isr(uint16_t supply, uint16_t drain) {
    if (sets < SETS) {
        kept[sets][2] = supply;
        kept[sets][3] = drain;
        sets++;
    } else {
        hal_adc_stop();
    }
}

static void train(uint8_t which, uint8_t count, uint32_t on_us, uint32_t period_us) {
    channel = which;
    pulses_left = count;
    on_ticks = on_us * HAL_TICKS_PER_US;
    period_ticks = period_us * HAL_TICKS_PER_US;
    edge = hal_now_ticks() + HAL_TICKS_PER_MS;
    hal_edge_at(edge);
}

static void say(uint8_t byte) {
    while (!hal_tx_free())
        hal_tx_wait();
    hal_tx_put(byte);
}

static void report(void) {
    for (uint8_t set = 0; set < sets; set++)
        for (uint8_t quantity = 0; quantity < 4; quantity++) {
            say((uint8_t)kept[set][quantity]);
            say((uint8_t)(kept[set][quantity] >> 8));
        }
    say('e');
}

static void hang(bool everything) {
    hal_gate(3, HAL_ON);
    kill_ms = everything ? 0 : 5;
    if (everything)
        cli();
    for (;;)
        ;
}

static void identify(void) {
    say(board->channels[1].kind);
    say(board->simulated);
    say((uint8_t)board->serial_number[0]);
    say(board->channel_count);
}

void core_poll(void) {
    const uint8_t now = command;
    hal_watchdog_feed();
    command = 0;
    if (watchdog) {
        watchdog = 0;
        say('W');
    }
    if (now == 't')
        train(3, 20, 100, 1000);
    if (now == 'l')
        train(12, 3, 100000, 150000);
    if (now == 'r')
        report();
    if (now == 'i')
        identify();
    if (now == 'k' || now == 'h')
        hang(now == 'h');
}

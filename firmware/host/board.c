/* SPDX-License-Identifier: MIT */
#include <math.h>
#include <string.h>

#include "core.h"
#include "core_config.h"
#include "host.h"
#include "plant.h"
#include "wire_gen.h"

#define NEVER UINT64_MAX
#define OUTPUT_BYTES 65536U
#define SWITCHES 65536U
#define WATCHDOG_TICKS (120U * HAL_TICKS_PER_MS)
#define SET_TICKS 52U /* 26 us: four conversions of 6.5 us */
#define FIRST_TICKS 4U /* 2 us */
#define SUPPLY_TICKS 26U /* 13 us after the current sample */
#define DRAIN_TICKS 39U /* 19.5 us */
#define TEMPERATURE_DC 310
#define TRACE_SAMPLES 600U

enum phase { PHASE_CURRENT, PHASE_SUPPLY, PHASE_DRAIN };

static struct hal_channel channels[WIRE_MAX_CHANNELS];
static uint8_t trace_memory[CORE_TRACE_BUFFERS * TRACE_SAMPLES * HAL_TRACE_SET_BYTES];
static struct hal_board board = {
    .board = "host",
    .serial_number = "HOST-0001",
    .firmware_version = "0.1.0",
    .calibrated_on = "2026-01-01",
    .simulated = 1,
    .adc_bits = 10,
    .sample_period_ns = 26000,
    .sample_period_ticks = SET_TICKS,
    .first_sample_ticks = FIRST_TICKS,
    .first_sample_ns = 2000,
    .supply_skew_ns = 13000,
    .drain_skew_ns = 19500,
    .supply_min_mv = 6000,
    .supply_max_mv = 18000,
    .supply_uv_per_count = PLANT_SUPPLY_UV_PER_COUNT,
    .drain_uv_per_count = PLANT_DRAIN_UV_PER_COUNT,
    .noise_counts_x100 = 0,
    .bias_mv = 2500,
    .bias_ohm = 47000,
    .clamp_mv = 48000,
    .trace_buffers = CORE_TRACE_BUFFERS,
    .max_trace_samples = TRACE_SAMPLES,
    .trace_memory = trace_memory,
    .channels = channels,
};

static struct {
    uint64_t now;
    struct hal_edge edges[HAL_EDGES_AHEAD];
    uint8_t first_edge;
    uint8_t edge_count;
    bool turn_over; /* one of the two that come by turns has come for the last time */
    uint64_t edge; /* when the first of them is due */
    uint64_t tick;
    uint64_t conversion; /* of the phase below */
    uint64_t anchor; /* current sample of the set under way */
    uint8_t phase;
    uint8_t converted; /* channel; 0: none */
    struct hal_set set;
    bool judged; /* by the limit below */
    struct hal_limit limit;
    bool pulse; /* between an edge that began to be judged and one that ended it */
    bool reported; /* sets are, */
    uint8_t every; /* this many-th of them, */
    uint8_t until; /* the next after so many */
    bool kept; /* sets are wanted for a trace */
    bool gates_killed; /* shown only, so that the core's own lock is tried without it */
    bool stop_open;
    uint8_t held_off; /* entry points are; nothing here comes between, so it only shows that each hold ends */
    uint64_t hung_until;
    uint64_t fed; /* the watchdog, last */
    bool held; /* the main loop gets no turn */
    uint64_t spin; /* without the millisecond interrupt the main loop turns by itself */
    uint32_t resets; /* by the watchdog */
    bool stuck; /* the converter */
    bool clock_dead; /* what hal_now_ticks reads */
    uint32_t clock_stood; /* at this */
    bool edges_dead; /* none is carried out */
    bool sample_due; /* since a pulse began, or sets were asked for */
    bool sampled; /* since hal_fault was asked */
} m;

static uint8_t output[OUTPUT_BYTES];
static size_t output_size;
static struct host_switch switches[SWITCHES];
static size_t switch_count;

#ifdef LOOMPROOF_ORACLE
void oracle_switched(uint8_t channel, uint8_t drive);
#endif

static void set_drive(uint8_t channel, uint8_t drive)
{
    if (plant_drive(channel) == drive) {
        return;
    }
    plant_switch(channel, drive, m.now);
#ifdef LOOMPROOF_ORACLE
    oracle_switched(channel, drive);
#endif
    if (switch_count < SWITCHES) {
        switches[switch_count] = (struct host_switch){.at_ticks = m.now, .channel = channel, .drive = drive};
        switch_count++;
    }
}

/* --- hal.h ------------------------------------------------------------------------------------------------------ */

void hal_all_off(void)
{
    for (uint8_t channel = 1; channel <= board.channel_count; channel++) {
        set_drive(channel, HAL_OFF);
    }
}

void hal_kill_gates(bool killed)
{
    m.gates_killed = killed;
    if (killed) {
        hal_all_off();
    }
}

uint32_t hal_now_ticks(void)
{
    return m.clock_dead ? m.clock_stood : (uint32_t)m.now;
}

static void await_first_edge(void)
{
    int32_t ahead = (int32_t)(m.edges[m.first_edge].at_ticks - (uint32_t)m.now);
    m.edge = m.edge_count == 0 ? NEVER : ahead > 0 ? m.now + (uint32_t)ahead : m.now;
}

void hal_edge_at(const struct hal_edge *edge)
{
    if (m.edge_count == HAL_EDGES_AHEAD) {
        return; /* more than the core may plan */
    }
    m.edges[(m.first_edge + m.edge_count) % HAL_EDGES_AHEAD] = *edge;
    m.edge_count++;
    await_first_edge();
}

void hal_edge_cancel(void)
{
    m.edge = NEVER;
    m.edge_count = 0;
    m.turn_over = false;
    m.judged = false;
    m.pulse = false;
}

void hal_adc_start(uint8_t channel)
{
    m.converted = channel;
    m.sample_due = true;
    m.reported = true;
    m.every = m.until = 1;
    m.phase = PHASE_CURRENT;
    m.anchor = m.now + FIRST_TICKS;
    m.conversion = m.anchor;
}

void hal_adc_stop(void)
{
    m.conversion = NEVER;
    m.judged = m.pulse = m.kept = m.sample_due = false;
}

void hal_adc_release(void)
{
    m.kept = m.reported = false;
    if (!m.pulse) {
        m.conversion = NEVER;
    }
}

static void begin_sets(const struct hal_edge *edge)
{
    hal_adc_start(edge->sampled);
    m.reported = edge->sampling != HAL_SAMPLING_PULSE;
    if (edge->sampling == HAL_SAMPLING_TRACE) {
        m.every = edge->every;
    } else if (edge->sampling == HAL_SAMPLING_SENSE) {
        m.anchor += edge->wait_ticks;
        m.conversion = m.anchor;
    }
}

static void sample_from_edge(const struct hal_edge *edge)
{
    switch (edge->sampling) {
    case HAL_SAMPLING_PULSE:
    case HAL_SAMPLING_SENSE:
    case HAL_SAMPLING_TRACE:
        m.limit = edge->limit;
        m.judged = m.pulse = m.sample_due = true;
        if (edge->sampling != HAL_SAMPLING_PULSE || !m.kept) {
            begin_sets(edge);
        }
        m.kept = m.kept || edge->sampling == HAL_SAMPLING_TRACE;
        break;
    case HAL_SAMPLING_LAST:
        m.judged = m.pulse = false;
        break;
    case HAL_SAMPLING_END:
        m.judged = m.pulse = false;
        if (!m.kept) {
            m.conversion = NEVER;
        }
        break;
    default:
        break;
    }
}

/* Two edges by turns change places as long as one comes again; both are reported when neither does. Returns how many to
 * report. */
static uint8_t pass_edge(void)
{
    uint8_t second = (uint8_t)((m.first_edge + 1U) % HAL_EDGES_AHEAD);
    struct hal_edge done = m.edges[m.first_edge];
    uint8_t passed = 1;
    if (done.again_ticks != 0 && !m.turn_over) {
        m.turn_over = done.times == 0;
        done.at_ticks += done.again_ticks;
        done.times--;
        m.edges[m.first_edge] = m.edges[second];
        m.edges[second] = done;
        passed = 0;
    } else if (done.again_ticks != 0) {
        m.turn_over = false;
        passed = 2;
    }
    m.first_edge = (uint8_t)((m.first_edge + passed) % HAL_EDGES_AHEAD);
    m.edge_count = (uint8_t)(m.edge_count - passed);
    await_first_edge();
    return passed;
}

static void carry_out_edge(void)
{
    struct hal_edge edge = m.edges[m.first_edge];
    uint8_t passed = pass_edge();
    if (edge.channel != 0 && (!m.stop_open || edge.drive == HAL_OFF)) {
        set_drive(edge.channel, edge.drive);
    }
    sample_from_edge(&edge);
    for (; passed > 0; passed--) {
        core_edge_isr();
    }
}

uint16_t hal_supply_counts(void)
{
    return plant_supply_counts();
}

int16_t hal_temperature_dc(void)
{
    return TEMPERATURE_DC;
}

bool hal_stop_input_open(void)
{
    return m.stop_open;
}

void hal_watchdog_feed(void)
{
    m.fed = m.now;
}

uint8_t hal_fault(void)
{
    bool sampled = m.sampled;
    m.sampled = false;
    if (sampled) {
        m.sample_due = false;
    }
    if (m.edge_count > 0 && (int32_t)(hal_now_ticks() - m.edges[m.first_edge].at_ticks) > (int32_t)HAL_TICKS_PER_MS) {
        return HAL_EDGE_OVERDUE;
    }
    return !sampled && (m.sample_due || m.pulse) ? HAL_NO_SAMPLE : HAL_WORKS;
}

uint16_t hal_tx_put(const uint8_t *bytes, uint16_t size)
{
    for (uint16_t i = 0; i < size && output_size < OUTPUT_BYTES; i++) {
        output[output_size] = bytes[i];
        output_size++;
    }
    return size;
}

void hal_tx_wait(void)
{
}

uint8_t hal_irq_save(void)
{
    uint8_t saved = m.held_off;
    m.held_off = 1;
    return saved;
}

void hal_irq_restore(uint8_t saved)
{
    m.held_off = saved;
}

/* --- time ------------------------------------------------------------------------------------------------------- */

static void judge(void)
{
    if (m.judged && (m.limit.wide ? m.set.wide : m.set.fine) > m.limit.counts) {
        hal_edge_cancel();
        hal_all_off();
        core_over_current_isr(&m.set, (uint32_t)m.now);
    }
}

static void convert(void)
{
    switch (m.phase) {
    case PHASE_CURRENT:
        m.sampled = true;
        m.phase = PHASE_SUPPLY;
        m.conversion = m.anchor + SUPPLY_TICKS;
        plant_current_counts(m.converted, m.now, &m.set.fine, &m.set.wide);
        judge();
        break;
    case PHASE_SUPPLY:
        m.phase = PHASE_DRAIN;
        m.conversion = m.anchor + DRAIN_TICKS;
        m.set.supply = plant_supply_counts();
        break;
    default:
        m.phase = PHASE_CURRENT;
        m.anchor += SET_TICKS;
        m.conversion = m.anchor;
        m.set.drain = plant_drain_counts(m.converted);
        if (m.reported && --m.until == 0) {
            m.until = m.every;
            core_set_isr(&m.set);
        }
        break;
    }
}

static void boot(bool by_watchdog)
{
    hal_edge_cancel();
    hal_adc_stop();
    m.hung_until = NEVER;
    m.fed = m.now;
    m.held = m.stuck = m.clock_dead = m.edges_dead = false;
    m.tick = m.now + HAL_TICKS_PER_MS;
    m.spin = NEVER;
    core_init(&board, by_watchdog);
}

static uint64_t sooner(uint64_t a, uint64_t b)
{
    return a < b ? a : b;
}

static uint64_t next_due(void)
{
    if (m.hung_until != NEVER) {
        return m.hung_until;
    }
    uint64_t due = sooner(sooner(m.tick, m.edges_dead ? NEVER : m.edge), sooner(m.spin, m.fed + WATCHDOG_TICKS));
    return sooner(due, m.stuck ? NEVER : m.conversion);
}

/* What is due first; ties: the watchdog, the millisecond, the edge, the converter. */
static void run_due(void)
{
    if (m.hung_until != NEVER || m.now >= m.fed + WATCHDOG_TICKS) {
        m.resets++;
        boot(true);
    } else if (m.tick <= m.now) {
        m.tick += HAL_TICKS_PER_MS;
        core_tick_1ms();
    } else if (m.spin <= m.now) {
        m.spin += HAL_TICKS_PER_MS;
    } else if (!m.edges_dead && m.edge <= m.now) {
        carry_out_edge();
    } else {
        convert();
    }
    if (next_due() > m.now && !m.held) {
        core_poll(); /* the main loop comes after all that is due at one instant */
    }
}

void host_advance(uint64_t to_ticks)
{
    while (next_due() <= to_ticks) {
        if (next_due() > m.now) {
            m.now = next_due();
        }
        run_due();
    }
    m.now = to_ticks;
}

static void settle(void)
{
    if (!m.held) {
        core_poll();
    }
    host_advance(m.now);
}

/* --- host.h ----------------------------------------------------------------------------------------------------- */

static uint8_t kind_of(uint8_t channel)
{
    if (channel >= 15) {
        return WIRE_CHANNEL_KIND_HALF_BRIDGE;
    }
    if (channel >= 13) {
        return WIRE_CHANNEL_KIND_LOGIC;
    }
    return channel == 12 ? WIRE_CHANNEL_KIND_HIGH_SIDE : WIRE_CHANNEL_KIND_LOW_SIDE;
}

void host_open(uint8_t channel_count)
{
    memset(&m, 0, sizeof m);
    output_size = 0;
    switch_count = 0;
    plant_reset();
    board.channel_count = channel_count;
    for (uint8_t i = 0; i < WIRE_MAX_CHANNELS; i++) {
        channels[i] = (struct hal_channel){.kind = kind_of((uint8_t)(i + 1U)),
                                           .wide_na_per_count = PLANT_WIDE_NA_PER_COUNT,
                                           .wide_offset_x100 = PLANT_WIDE_OFFSET_X100,
                                           .fine_na_per_count = PLANT_FINE_NA_PER_COUNT,
                                           .fine_offset_x100 = PLANT_FINE_OFFSET_X100};
    }
    boot(false);
}

bool host_gates_killed(void)
{
    return m.gates_killed;
}

uint8_t host_edges_planned(void)
{
    return m.edge_count;
}

bool host_converting(void)
{
    return m.conversion != NEVER;
}

bool host_held_off(void)
{
    return m.held_off != 0;
}

void host_receive(const uint8_t *bytes, size_t size)
{
    for (size_t i = 0; i < size && m.hung_until == NEVER; i++) {
        core_rx_byte(bytes[i]);
        if (bytes[i] == WIRE_DELIMITER) {
            settle();
        }
    }
}

size_t host_take(uint8_t *bytes, size_t size)
{
    size_t taken = output_size < size ? output_size : size;
    memcpy(bytes, output, taken);
    memmove(output, output + taken, output_size - taken);
    output_size -= taken;
    return taken;
}

size_t host_take_switches(struct host_switch *to, size_t size)
{
    size_t taken = switch_count < size ? switch_count : size;
    memcpy(to, switches, taken * sizeof *to);
    memmove(switches, switches + taken, (switch_count - taken) * sizeof *switches);
    switch_count -= taken;
    return taken;
}

void host_stop_input(bool open)
{
    m.stop_open = open;
    if (open) {
        hal_all_off(); /* the contact is in the gate drivers' supply */
    }
    if (m.hung_until == NEVER) {
        core_stop_input_isr();
        settle();
    }
}

void host_supply(double volts)
{
    plant_set_supply(volts);
    if (m.hung_until == NEVER) {
        core_supply_isr();
        settle();
    }
}

void host_load(uint8_t channel, double ohm, double henry)
{
    plant_set_load(channel, ohm, henry);
}

void host_stick_driver(uint8_t channel)
{
    plant_stick(channel);
}

void host_deaden_current(uint8_t channel)
{
    plant_deaden(channel);
}

void host_amplifier_top(double counts)
{
    plant_set_top(counts);
}

void host_hang(void)
{
    if (m.hung_until == NEVER) {
        m.hung_until = m.now + WATCHDOG_TICKS;
    }
}

void host_hold(bool held)
{
    m.held = held;
    if (!held && m.hung_until == NEVER) {
        settle();
    }
}

void host_poll(void)
{
    if (m.hung_until == NEVER) {
        core_poll();
        host_advance(m.now);
    }
}

void host_ticks_die(void)
{
    m.tick = NEVER;
    m.spin = m.now + HAL_TICKS_PER_MS;
}

void host_converter_sticks(void)
{
    m.stuck = true;
}

void host_clock_stops(void)
{
    m.clock_stood = (uint32_t)m.now;
    m.clock_dead = true;
}

void host_edges_die(void)
{
    m.edges_dead = true;
}

uint32_t host_resets(void)
{
    return m.resets;
}

uint64_t host_now(void)
{
    return m.now;
}

uint8_t host_drive(uint8_t channel)
{
    return plant_drive(channel);
}

"""From evidence to words, at the very limits; the limits themselves are judgement of this project, unchecked."""

import math
from types import SimpleNamespace

import pytest

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.observed.extract import current_fall, features_of
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.diagnose.observed.pin_at_rest import rest_state
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence, Noticed, PullResult
from loomproof.facts.kinds import LoadKind, Suppression
from loomproof.facts.signature import HasMoved, OffShape, Signature
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.quantity import Quantity

INJECTOR, VALVE = CATALOGUE["injector_high"], CATALOGUE["valve_purge"]
LAMP, MOTOR, RELAY = CATALOGUE["lamp_21w"], CATALOGUE["motor_fan"], CATALOGUE["relay_plain"]
INPUT = next(load for load in CATALOGUE.values() if load.kind is LoadKind.LOGIC_INPUT)
WARM = Estimate(20.0, 2.0)


def band(low, middle, high):
    return LimitBand(low, high, middle, 0.0, "round numbers")


def features(load, *, expected=None, partner=None, loom=None, **own):
    """The features of channel 1 with this load, of which just so much was seen."""
    job = SimpleNamespace(
        load_type=lambda _: load,
        channel=lambda _: SimpleNamespace(partner=partner, channel=1, feed=None),
        channels=(),
    )
    evidence = LoomEvidence(channels={1: ChannelEvidence(1, **own)}, **(loom or {}))
    return features_of(job, evidence, expected or Expectations(WARM), 1)


def pulse(**seen):
    return Signature(1, **seen)


def above(value):
    return math.nextafter(value, math.inf)


def below(value):
    return math.nextafter(value, -math.inf)


# -- where the pin rests ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rest_v", "u_v", "state"),
    [
        # 13.5 V at the supply, 2.5 V at the bias; 0.5 V below the supply for readings and feed
        (13.5, 0.01, Rest.CONNECTED),
        (above(13.0), 0.01, Rest.CONNECTED),
        (13.0, 0.01, Rest.BETWEEN),
        (above(11.5), 0.5, Rest.CONNECTED),  # 4 u = 2 V
        (11.5, 0.5, Rest.BETWEEN),
        (2.5, 0.01, Rest.FLOATING),
        (2.79, 0.01, Rest.FLOATING),  # twice 0.15 V
        (2.81, 0.01, Rest.BETWEEN),
        (2.21, 0.01, Rest.FLOATING),
        (2.19, 0.01, Rest.BETWEEN),
        (4.49, 0.25, Rest.FLOATING),  # twice 4 u = 2 V
        (4.5, 0.25, Rest.BETWEEN),
        (0.51, 0.25, Rest.FLOATING),
        (0.5, 0.25, Rest.GROUNDED),
        (below(0.5), 0.01, Rest.GROUNDED),
        (0.5, 0.01, Rest.BETWEEN),
        (0.0, 0.01, Rest.GROUNDED),
        (1.0, 0.01, Rest.BETWEEN),
        (8.0, 0.01, Rest.BETWEEN),
    ],
)
def test_a_resting_voltage_has_its_word(rest_v, u_v, state):
    assert rest_state(rest_v, 13.5, 2.5, u_v, 0.0) is state


@pytest.mark.parametrize(
    ("rest_v", "load_ohm", "state"),
    [
        # 11 V over load and 20 kilohm of bias: 5000 ohm take a fifth, 2.2 V, of which twice is forgiven
        (8.61, 5000.0, Rest.CONNECTED),
        (8.59, 5000.0, Rest.BETWEEN),
        (12.9, 1000.0, Rest.CONNECTED),
        (11.94, 1000.0, Rest.BETWEEN),
    ],
)
def test_the_bias_pulls_a_high_resistance_down_a_little(rest_v, load_ohm, state):
    assert rest_state(rest_v, 13.5, 2.5, 0.01, load_ohm) is state


def test_a_supply_below_the_bias_is_pulled_nowhere():
    assert rest_state(1.6, 2.0, 2.5, 0.01, 5000.0) is Rest.CONNECTED
    assert rest_state(1.5, 2.0, 2.5, 0.01, 5000.0) is not Rest.CONNECTED


def test_the_ground_is_as_wide_as_four_times_the_uncertainty():
    """4 u = 1.2 V against a bias at 6 V."""
    assert rest_state(1.19, 13.5, 6.0, 0.3, 14.0) is Rest.GROUNDED
    assert rest_state(1.2, 13.5, 6.0, 0.3, 14.0) is Rest.BETWEEN


@pytest.mark.parametrize(("rest_v", "supply_v"), [(None, 13.5), (13.5, None), (None, None)])
def test_what_was_not_read_is_not_known(rest_v, supply_v):
    assert rest_state(rest_v, supply_v, 2.5, 0.05, 14.0) is Rest.UNKNOWN


@pytest.mark.parametrize(
    ("rest_v", "state"),
    [
        (0.1, Rest.HELD_LOW),
        (13.4, Rest.HELD_HIGH),
        (2.5, Rest.FLOATING),
        (6.0, Rest.UNKNOWN),
        (None, Rest.UNKNOWN),
    ],
)
def test_the_pin_of_an_input_rests_at_ground(rest_v, state):
    loom = {"supply_rest_v": 13.5, "bias_v": 2.5, "drain_u_v": 0.01}
    assert features(INPUT, resting_drain_v=rest_v, loom=loom).rest is state


def test_bias_and_uncertainty_are_those_of_the_box():
    loom = {"supply_rest_v": 13.5, "bias_v": 4.0, "drain_u_v": 0.01}
    assert features(INJECTOR, resting_drain_v=4.0, loom=loom).rest is Rest.FLOATING
    assert features(INJECTOR, resting_drain_v=2.5, loom=loom).rest is Rest.BETWEEN
    assert features(INJECTOR, resting_drain_v=2.5, loom=loom | {"drain_u_v": 0.2}).rest is Rest.FLOATING
    assert features(INJECTOR, resting_drain_v=13.4, loom=loom).rest is Rest.CONNECTED


def test_the_pins_of_a_half_bridge_show_no_rest():
    loom = {"supply_rest_v": 13.5}
    assert features(MOTOR, resting_drain_v=13.4, loom=loom, partner=2).rest is Rest.UNKNOWN
    assert features(MOTOR, resting_drain_v=13.4, loom=loom).rest is Rest.CONNECTED


# -- what is handed on --------------------------------------------------------------------------------


def test_each_number_is_the_signatures_own():
    ohm, henry, steady, inrush, source = (Estimate(value, 0.01) for value in (14.0, 0.014, 1.0, 3.0, 0.03))
    seen = pulse(
        resistance_ohm=ohm,
        inductance_h=henry,
        steady_a=steady,
        inrush_a=inrush,
        source_ohm=source,
        moved=HasMoved.YES,
        off_shape=OffShape.DIODE,
        final_current_a=steady,
    )
    pull = PullResult(1, (1,), "matched")
    found = features(INJECTOR, signature=seen, noticed=Noticed.HEARD, pull=pull, dropouts=2)
    assert (found.resistance, found.inductance) == (ohm, henry)
    assert (found.steady, found.inrush, found.source_ohm) == (steady, inrush, source)
    assert (found.moved, found.off_shape) == (HasMoved.YES, OffShape.DIODE)
    assert (found.channel, found.noticed, found.pull, found.dropouts) == (1, Noticed.HEARD, pull, 2)
    assert found.watched
    assert not found.cold


def test_of_a_channel_that_was_not_driven_nothing_is_known():
    found = features(INJECTOR)
    assert found.resistance is found.inductance is found.moved is found.steady is found.inrush is None
    assert found.source_ohm is None
    assert (found.rest, found.conduct) == (Rest.UNKNOWN, Conduct.UNKNOWN)
    assert found.off_shape is OffShape.CANNOT_TELL
    assert not found.watched
    assert not found.unsteady
    assert not found.cold


@pytest.mark.parametrize(
    ("watched", "dropouts", "counts"), [(False, 0, False), (True, 0, True), (False, 1, True)]
)
def test_a_dropout_counts_as_watched(watched, dropouts, counts):
    assert features(INJECTOR, watched=watched, dropouts=dropouts).watched is counts


# -- filaments and windings ---------------------------------------------------------------------------


def cold_lamp(sensed, measured=None, load=LAMP):
    own = {"sense": pulse(resistance_ohm=sensed)}
    if measured is not None:
        own["signature"] = pulse(resistance_ohm=measured)
    return features(load, **own)


@pytest.mark.parametrize(("u", "cold"), [(below(0.06), True), (0.06, False)])
def test_a_filament_was_seen_cold_when_the_sense_pulse_is_good_enough(u, cold):
    assert cold_lamp(Estimate(1.0, u)).cold is cold


def test_the_lower_of_two_resistances_is_the_filaments_own():
    cold, warm = Estimate(0.6, 0.01), Estimate(0.8, 0.01)
    assert cold_lamp(cold, warm).resistance == cold
    assert cold_lamp(warm, cold).resistance == cold
    assert cold_lamp(Estimate(0.6, 0.06), warm).resistance == warm
    assert cold_lamp(cold).resistance is None
    assert cold_lamp(cold, warm, INJECTOR).resistance == warm
    assert not cold_lamp(cold, warm, INJECTOR).cold
    assert not features(LAMP, signature=pulse(resistance_ohm=warm)).cold


def sensed_inductance(load=VALVE, *, ampere=0.045, u=0.0, volt=13.5, on_s=100e-6, tripped=False):
    sense = pulse(
        final_current_a=None if ampere is None else Estimate(ampere, u),
        supply_v=None if volt is None else Estimate(volt, 0.0),
        on_time_s=on_s,
        tripped=tripped,
    )
    return features(load, sense=sense).inductance


def test_an_inductance_from_the_sense_pulse_is_v_t_over_i():
    """13.5 V for 100 us on 30 mH: 45 mA, known to 20 %."""
    found = sensed_inductance()
    assert found.value == pytest.approx(0.03)
    assert found.u == pytest.approx(0.2 * 0.03)
    found = sensed_inductance(u=0.009)
    assert found.u == pytest.approx(0.03 * math.hypot(0.2, 0.2))


def test_the_loads_own_pulse_knows_its_inductance_better():
    own = Estimate(0.028, 0.001)
    sense = pulse(final_current_a=Estimate(0.045, 0.0), supply_v=Estimate(13.5, 0.0), on_time_s=100e-6)
    assert features(VALVE, sense=sense, signature=pulse(inductance_h=own)).inductance == own
    roughly = features(VALVE, sense=sense, signature=pulse()).inductance
    assert roughly.value == pytest.approx(0.03)


@pytest.mark.parametrize(
    "changes",
    [
        {"tripped": True},
        {"on_s": 0.0},
        {"on_s": -1e-6},
        {"ampere": None},
        {"volt": None},
        {"volt": 0.0},
        {"load": LAMP},
        {"load": MOTOR},
        {"u": 0.01},
        {"ampere": -0.045},
    ],
    ids=str,
)
def test_no_inductance_from_a_sense_pulse_that_says_nothing(changes):
    assert sensed_inductance(**changes) is None


def test_a_sensed_current_has_to_be_five_times_its_uncertainty():
    assert sensed_inductance(ampere=0.05, u=0.01) is not None
    assert sensed_inductance(ampere=below(0.05), u=0.01) is None


def test_what_a_resistor_across_the_winding_takes_is_no_current_of_the_winding():
    """13.5 V over 675 ohm are 20 mA of 65: 45 mA stay. A tolerance of 10 % is 20 mA * 0.1 / sqrt(3) = 1.1547 mA."""
    resistor = Quantity(value=675.0, tolerance_percent=10.0, source="a round number")
    changes = {"suppression": Suppression.RESISTOR, "suppression_ohm": resistor}
    found = sensed_inductance(VALVE.model_copy(update=changes), ampere=0.065)
    assert found.value == pytest.approx(0.03)
    assert found.u == pytest.approx(0.03 * math.hypot(0.2, 1.1547e-3 / 0.045), rel=1e-4)
    found = sensed_inductance(VALVE.model_copy(update=changes), ampere=0.065, u=2e-3)
    assert found.u == pytest.approx(0.03 * math.hypot(0.2, math.hypot(2e-3, 1.1547e-3) / 0.045), rel=1e-4)
    without = [
        {"suppression": Suppression.DIODE, "suppression_ohm": resistor},
        {"suppression": Suppression.RESISTOR, "suppression_ohm": None},
    ]
    for changes in without:
        found = sensed_inductance(VALVE.model_copy(update=changes), ampere=0.045)
        assert found.value == pytest.approx(0.03)


# -- motion ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inrush", "u", "moved"),
    [
        # steady 2 A, exactly known
        (3.01, 0.0, HasMoved.YES),
        (3.0, 0.0, HasMoved.CANNOT_TELL),
        (4.0, 0.49, HasMoved.YES),  # 2.0 - 2 * 0.245
        (4.0, 0.51, HasMoved.CANNOT_TELL),
        (2.39, 0.0, HasMoved.NO),
        (2.4, 0.0, HasMoved.CANNOT_TELL),
        (2.0, 0.19, HasMoved.NO),  # 1.0 + 2 * 0.095
        (2.0, 0.21, HasMoved.CANNOT_TELL),
    ],
)
def test_a_rotor_turns_when_its_current_falls(inrush, u, moved):
    fall, says = current_fall(Estimate(inrush, u), Estimate(2.0, 0.0))
    assert fall == pytest.approx(inrush / 2.0)
    assert says is moved
    seen = pulse(inrush_a=Estimate(inrush, u), steady_a=Estimate(2.0, 0.0))
    assert features(MOTOR, signature=seen).moved is moved


def test_the_uncertainty_of_a_fall_is_that_of_both_currents():
    """2.0 with 10 % and 7.5 % together 12.5 %: 2.0 - 2 * 0.25 = 1.5; a little less and it turns."""
    _, says = current_fall(Estimate(4.0, 0.4), Estimate(2.0, 0.15))
    assert says is HasMoved.CANNOT_TELL
    _, says = current_fall(Estimate(4.0, 0.4), Estimate(2.0, 0.149))
    assert says is HasMoved.YES


@pytest.mark.parametrize(
    ("inrush", "steady"), [(None, 2.0), (3.0, None), (3.0, 0.0), (3.0, -2.0), (None, None)]
)
def test_without_both_currents_a_turning_rotor_cannot_be_told(inrush, steady):
    seen = pulse(
        inrush_a=None if inrush is None else Estimate(inrush, 0.0),
        steady_a=None if steady is None else Estimate(steady, 0.0),
    )
    assert features(MOTOR, signature=seen).moved is HasMoved.CANNOT_TELL


def test_an_armature_moves_as_its_dip_says_and_a_lamp_not_at_all():
    currents = {"inrush_a": Estimate(9.0, 0.0), "steady_a": Estimate(1.0, 0.0)}
    for moved in HasMoved:
        assert features(INJECTOR, signature=pulse(moved=moved, **currents)).moved is moved
    assert features(LAMP, signature=pulse(moved=HasMoved.YES, **currents)).moved is None


# -- steadiness -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dof", "u", "unsteady"),
    [(below(5.0), 0.03, True), (5.0, 0.03, False), (4.9, 0.0201, True), (4.9, 0.02, False), (3.0, 0.5, True)],
)
def test_few_degrees_of_freedom_and_a_wide_spread_are_unsteady(dof, u, unsteady):
    seen = pulse(resistance_ohm=Estimate(1.0, u, dof))
    assert features(INJECTOR, signature=seen).unsteady is unsteady
    assert not features(INJECTOR, signature=pulse()).unsteady


# -- what flows -------------------------------------------------------------------------------------------

EXPECTED = Expectations(WARM, resistance={1: band(10.0, 12.0, 14.0)}, inductance={1: band(0.01, 0.012, 0.02)})


def conduct(expected=EXPECTED, load=INJECTOR, **own):
    return features(load, expected=expected, **own).conduct


def test_whatever_tripped_was_too_much():
    ohm = Estimate(12.0, 0.1)
    whole = pulse(final_current_a=Estimate(1.0, 0.001), resistance_ohm=ohm)
    assert conduct(signature=whole) is Conduct.FLOWS
    assert conduct(signature=whole, tripped=True) is Conduct.EXCESS
    assert conduct(signature=whole.but(tripped=True)) is Conduct.EXCESS
    assert conduct(signature=whole, sense=pulse(tripped=True)) is Conduct.EXCESS
    assert conduct(signature=whole, sense=pulse()) is Conduct.FLOWS
    assert conduct(tripped=True) is Conduct.EXCESS


@pytest.mark.parametrize(
    ("ampere", "u", "u_gain", "flows"),
    [
        (3e-4, 0.0, 0.0, True),
        (below(3e-4), 0.0, 0.0, False),
        (0.006, 0.001, 0.0, True),  # six times what is random
        (below(0.006), 0.001, 0.0, False),
        (0.02, 0.01, 0.01, True),  # twice the whole, where all of it is the scale's
        (below(0.02), 0.01, 0.01, False),
    ],
)
def test_no_current_is_one_that_cannot_be_told_from_none(ampere, u, u_gain, flows):
    final = Estimate(ampere, u, u_gain=u_gain)
    assert conduct(signature=pulse(final_current_a=final)) is (Conduct.FLOWS if flows else Conduct.NONE)


def test_a_resistance_that_was_measured_shows_that_current_flows():
    seen = pulse(final_current_a=Estimate(1e-5, 0.0), resistance_ohm=Estimate(12.0, 1.0))
    assert conduct(signature=seen) is Conduct.FLOWS


@pytest.mark.parametrize(
    ("ohm", "clipped", "says"),
    [
        (1.2, False, Conduct.FLOWS),  # 0.12 of the lowest, 10 ohm
        (below(1.2), False, Conduct.EXCESS),
        (12.0, True, Conduct.EXCESS),
        (12.0, False, Conduct.FLOWS),
        (None, False, Conduct.FLOWS),
        (None, True, Conduct.EXCESS),
    ],
)
def test_far_too_little_resistance_is_far_too_much_current(ohm, clipped, says):
    seen = pulse(
        final_current_a=Estimate(1.0, 0.001),
        resistance_ohm=None if ohm is None else Estimate(ohm, 0.0),
        clipped=clipped,
    )
    assert conduct(signature=seen) is says


def test_without_a_limit_no_resistance_is_too_little():
    seen = pulse(final_current_a=Estimate(1.0, 0.001), resistance_ohm=Estimate(0.01, 0.0))
    assert conduct(Expectations(WARM), signature=seen) is Conduct.FLOWS


DUE_A = 12.0 * 100e-6 / 0.012
"""v t / L at 12 V: 0.1 A."""


@pytest.mark.parametrize(
    ("ampere", "u", "says"),
    [
        (0.1, None, Conduct.FLOWS),
        (0.0101, 0.001, Conduct.FLOWS),
        (0.0099, 0.001, Conduct.NONE),
        (0.010001, 0.0, Conduct.FLOWS),
        (0.0099, 0.0135, Conduct.FLOWS),  # 0.0099 + 3 * 0.0135 = 0.0504
        (0.0099, 0.0133, Conduct.NONE),  # 0.0498
        (0.0099, None, Conduct.NONE),
        (0.801, None, Conduct.EXCESS),
        (0.799, None, Conduct.FLOWS),
        (0.831, 0.01, Conduct.EXCESS),
        (0.829, 0.01, Conduct.FLOWS),
    ],
)
def test_from_the_sense_pulse_alone_only_the_coarse_is_told(ampere, u, says):
    assert pytest.approx(0.1) == DUE_A
    own = {"sense_current_a": ampere, "sense_current_u_a": u, "sense_on_time_s": 100e-6}
    assert conduct(**own) is says
    assert conduct(signature=pulse(), **own) is says  # a pulse without a current says no more


@pytest.mark.parametrize("lacking", ["sense_current_a", "sense_on_time_s", "band"])
def test_without_current_time_or_a_limit_nothing_is_known(lacking):
    own = {"sense_current_a": 0.0, "sense_on_time_s": 100e-6}
    expected = Expectations(WARM) if lacking == "band" else EXPECTED
    own.pop(lacking, None)
    assert conduct(expected, **own) is Conduct.UNKNOWN

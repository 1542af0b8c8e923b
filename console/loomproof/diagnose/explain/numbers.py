"""How probable a channel's numbers are: its resistance, inductance and steady current under a shape.

Parts of one type share a batch deviation within the catalogue's tolerance, each has a little of its own, and a
fault shifts them by an unknown amount that is summed over. Densities come as one value for each batch deviation of
the grid.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loomproof.diagnose.expected.band import WARM_FILAMENT
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.expected.temperature import copper_factor, direct_ohm, series_ohm
from loomproof.diagnose.explain.densities import (
    ADDED,
    BATCHES,
    BROAD,
    USELESS,
    added_density,
    batch_grid,
    flat,
    logsumexp,
    lost_turns_density,
    normal,
    with_outliers,
)
from loomproof.diagnose.faults.features import Features
from loomproof.diagnose.faults.shape import Shape
from loomproof.facts.estimate import Estimate
from loomproof.job.catalogue import CATALOGUE, LoadType
from loomproof.job.load_traits import FILAMENT_KINDS, LOAD_TRAITS, LOGIC_KINDS, REFERENCE_V
from loomproof.job.model import Job

Floats = NDArray[np.float64]


_OWN_HENRY, _OWN_STEADY = 0.04, 0.05
_BESIDE_HENRY = 0.2  # spread of two windings' common inductance, relative; judgment
_BESIDE_STEADY = 0.15  # how well the common current of two loads is foretold, relative; judgment
_JOINT_STEADY = 0.2  # how well the steady current behind a joint is foretold, relative; judgment
_WARM_SHARE = 0.2  # how often a filament is still warm from the look; judgment


@dataclass(frozen=True)
class Numbers:
    """Densities of what was measured on one loom's channels."""

    job: Job
    expected: Expectations
    features: Mapping[int, Features]

    # -- resistance ----------------------------------------------------------------------------------------------

    def tolerance(self, load: LoadType) -> float:
        """Relative tolerance of a type's resistance, the loom's temperature in it."""
        ohm = direct_ohm(load)
        share = (ohm.tolerance_percent if ohm else 50.0) / 100.0
        if load.kind in LOGIC_KINDS:
            return share
        return math.hypot(share, 1.7 * load.temperature_coefficient_per_k * self.expected.temperature_c.u)

    def ohm_weights(self, channel: int) -> Floats:
        """Log weights of the batch deviations."""
        return batch_grid(self.tolerance(self.job.load_type(channel)))[1]

    def ohm(self, channel: int, shape: Shape) -> Floats:
        """Log density of the resistance, shape (batches,)."""
        measured = self.features[channel].resistance
        if shape.unknown_type:
            return np.full(BATCHES, self._types(channel))
        if measured is None or _says_nothing(measured):
            return np.zeros(BATCHES)
        apart = self._apart(channel, shape, measured)
        if apart is not None:
            return np.full(BATCHES, apart)
        x, load = math.log(measured.value), shape.load
        base = self._base(channel, load)
        sigma = self._sigma(load, measured)
        if shape.added:
            return added_density(x, base, sigma)
        if shape.lost_turns:
            return lost_turns_density(x, base, sigma)
        cold = self.features[channel].cold
        density = with_outliers(normal(x, np.log(base), sigma) if cold else _maybe_warm(load, x, base, sigma))
        if shape.foreign:
            density = np.asarray(np.logaddexp(math.log(0.6) + density, math.log(0.4) + BROAD))
        return density if shape.own_batch else np.full(BATCHES, self._marginal(load, density))

    def weak_ohm(self, channel: int, shape: Shape) -> Floats:
        """Log density behind a weak feed, shape (feed resistances, batches)."""
        measured = self.features[channel].resistance
        hidden = shape.garbled or shape.low or shape.unknown_type or shape.beside is not None
        behind = shape.load.kind not in LOGIC_KINDS  # an input does not hang on the feed
        if measured is None or _says_nothing(measured) or hidden or not behind:
            return np.broadcast_to(self.ohm(channel, shape), (ADDED.size, BATCHES))
        base = self._base(channel, shape.load)
        sigma = self._sigma(shape.load, measured)
        return with_outliers(normal(math.log(measured.value), np.log(base[None, :] + ADDED[:, None]), sigma))

    def _apart(self, channel: int, shape: Shape, measured: Estimate) -> float | None:
        """Density where the batch of the channel's own load does not matter."""
        if shape.garbled:
            return BROAD
        if shape.low:
            base = self._base(channel, shape.load)
            return flat(math.log(measured.value), math.log(0.01), math.log(0.3 * float(base.mean())))
        if shape.beside is not None:
            both = math.log(0.6) + self._parallel(channel, shape.load, shape.beside, measured)
            return float(np.logaddexp(both, math.log(0.4) + BROAD))
        return None

    def _base(self, channel: int, load: LoadType) -> Floats:
        """Resistance over the batch grid as measured at the box."""
        ohm = direct_ohm(load)
        grid, _ = batch_grid(self.tolerance(load))
        temperature = self.expected.temperature_c.value
        wire = series_ohm(self.job, channel) * copper_factor(temperature)
        value = ohm.value if ohm else 20.0
        factor = copper_factor(temperature, load.temperature_coefficient_per_k)
        return np.asarray(value * factor * (1.0 + grid) + wire + 0.02)

    def _sigma(self, load: LoadType, measured: Estimate) -> float:
        spread = LOAD_TRAITS[load.kind].part_spread
        step = 3.0 * self.tolerance(load) / (BATCHES - 1) / 2.0
        return math.sqrt(spread**2 + measured.relative**2 + step**2)

    def _marginal(self, load: LoadType, density: Floats) -> float:
        return float(logsumexp(density + batch_grid(self.tolerance(load))[1]))

    def _parallel(self, channel: int, load: LoadType, beside: LoadType, measured: Estimate) -> float:
        """Both loads in parallel; each within its own tolerance."""
        one, two = direct_ohm(load), direct_ohm(beside)
        if one is None or two is None:
            return BROAD
        wire = series_ohm(self.job, channel)
        a, b = one.value + wire, two.value + wire
        both = a * b / (a + b)
        if FILAMENT_KINDS & {load.kind, beside.kind}:
            # A filament heats up beside it: both cold, or anything up to the other one alone and a little beyond.
            x = math.log(measured.value)
            heated = flat(x, math.log(0.8 * both), math.log(1.5 * max(a, b)))
            cold = float(normal(x, math.log(both), math.hypot(0.1, measured.relative)))
            return float(np.logaddexp(heated, cold)) - math.log(2.0)
        shares = math.hypot(one.tolerance_percent * b, two.tolerance_percent * a) / (a + b)
        spread = shares / 100.0 / math.sqrt(3.0)
        sigma = math.hypot(spread + 0.03, measured.relative)
        return float(normal(math.log(measured.value), math.log(both), sigma))

    # -- another type --------------------------------------------------------------------------------------------

    def _types(self, channel: int) -> float:
        """Some other load of the catalogue, or one nobody knows; judged by all numbers together."""
        seen = self.features[channel]
        measured, henry, steady = _told(seen.resistance), _told(seen.inductance), self._steady_ratio(channel)
        if measured is None and henry is None and steady is None:
            return 0.0
        key = self.job.load_type(channel).key
        known = (measured is not None) + (henry is not None) + (steady is not None)
        scores = [math.log(0.3) + known * BROAD]
        others = [t for t in {**CATALOGUE, **{t.key: t for t in self.job.loads}}.values() if t.key != key]
        for other in others:
            score = math.log(0.7 / len(others))
            if measured is not None:
                base, sigma = self._base(channel, other), self._sigma(other, measured)
                score += self._marginal(other, normal(math.log(measured.value), np.log(base), sigma))
            if henry is not None:
                score += _henry_of_type(henry, other)
            if steady is not None:
                score += _steady_of_type(steady, other)
            scores.append(score)
        return float(logsumexp(np.array(scores)))

    def _steady_ratio(self, channel: int) -> Estimate | None:
        """Steady current (A) brought to the reference voltage as the channel's own load would bring it."""
        seen, band = self.features[channel].steady, self.expected.steady.get(channel)
        due = self.job.load_type(channel).steady_current_a
        if seen is None or band is None or due is None or seen.value <= 0.0:
            return None
        factor = due.value / band.middle
        return Estimate(seen.value * factor, seen.u * factor)

    # -- steady current and inductance ---------------------------------------------------------------------------

    def steady(self, channel: int, shape: Shape) -> float:
        """Log density of the steady current of a lamp or a motor."""
        seen, band = self.features[channel].steady, self.expected.steady.get(channel)
        if seen is None or band is None or seen.value <= 0.0:
            return 0.0
        if shape.unknown_type:
            return 0.0  # judged together with the resistance
        if shape.garbled or shape.foreign or shape.low:
            return BROAD
        sigma = math.hypot((band.high - band.low) / (2.0 * math.sqrt(3.0) * band.middle), seen.relative)
        sigma = math.hypot(sigma, band.doubt / (2.0 * band.middle))
        due = self._behind_joint(channel, shape.load, band.middle) if shape.added else band.middle
        if shape.beside is not None:
            due += _taken_beside(shape.beside)
            sigma = math.hypot(sigma, _BESIDE_STEADY)
        if shape.added:
            sigma = math.hypot(sigma, _JOINT_STEADY)
        return float(with_outliers(normal(math.log(seen.value), math.log(due), sigma)))

    def _behind_joint(self, channel: int, load: LoadType, steady_a: float) -> float:
        """Steady current of a lamp or motor behind what was added to its resistance at rest."""
        measured, volts = self.features[channel].resistance, REFERENCE_V
        if measured is None:
            return steady_a
        added = max(measured.value - float(self._base(channel, load).mean()), 0.0)
        inrush = LOAD_TRAITS[load.kind].inrush
        power = 1.0 / inrush.steady_exponent if inrush is not None else 1.0
        low, high = 0.0, steady_a
        for _ in range(30):
            middle = 0.5 * (low + high)
            over = middle * added + volts * (middle / steady_a) ** power > volts
            low, high = (low, middle) if over else (middle, high)
        return max(low, 1e-4)

    def henry_weights(self, channel: int) -> Floats:
        """Log weights of the batch deviations of inductance."""
        henry = self.job.load_type(channel).inductance_mh
        return batch_grid((henry.tolerance_percent if henry else 50.0) / 100.0)[1]

    def henry(self, channel: int, shape: Shape) -> Floats:
        """Log density of the inductance, shape (batches,)."""
        measured, due = self.features[channel].inductance, shape.load.inductance_mh
        if measured is None or _says_nothing(measured) or due is None or shape.unknown_type:
            return np.zeros(BATCHES)  # an unknown type is judged together with the resistance
        x, middle = math.log(measured.value), math.log(due.value * 1e-3)
        apart = _henry_apart(x, middle, shape)
        if apart is not None:
            return np.full(BATCHES, apart)
        tolerance = due.tolerance_percent / 100.0
        grid, weights = batch_grid(tolerance)
        step = 3.0 * tolerance / (BATCHES - 1) / 2.0
        sigma = math.sqrt(_OWN_HENRY**2 + measured.relative**2 + step**2)
        density = with_outliers(normal(x, middle + np.log1p(grid), sigma))
        return density if shape.own_batch else np.full(BATCHES, float(logsumexp(density + weights)))


def _taken_beside(load: LoadType) -> float:
    """Current that another load takes at the reference voltage."""
    ohm = direct_ohm(load)
    if load.steady_current_a is not None:
        return load.steady_current_a.value
    return REFERENCE_V / ohm.value if ohm is not None else 0.0


def _told(measured: Estimate | None) -> Estimate | None:
    return None if measured is None or _says_nothing(measured) else measured


def _says_nothing(measured: Estimate) -> bool:
    return measured.value <= 0.0 or measured.relative > USELESS


def _maybe_warm(load: LoadType, x: float, base: Floats, sigma: float) -> Floats:
    """A filament may be warm from the look; everything else is at the loom's temperature."""
    cold = normal(x, np.log(base), sigma)
    if load.kind not in FILAMENT_KINDS:
        return cold
    half = 0.5 * math.log(WARM_FILAMENT)
    warm = normal(x, np.log(base) + half, math.hypot(sigma, half))
    return np.asarray(np.logaddexp(math.log(1.0 - _WARM_SHARE) + cold, math.log(_WARM_SHARE) + warm))


def _henry_apart(x: float, middle: float, shape: Shape) -> float | None:
    """Density of an inductance that is not the load's own."""
    if shape.garbled or shape.foreign:
        return BROAD
    if shape.low:
        return flat(x, middle - math.log(2e5), middle - math.log(40.0))
    if shape.beside is not None:
        return _henry_beside(x, middle, shape.beside)
    if shape.lost_turns:
        return flat(x, middle - math.log(50.0), middle - 0.15)
    return None


def _henry_beside(x: float, middle: float, beside: LoadType) -> float:
    """Two windings side by side; one of them without inductance, or unlike the other, and little can be foretold."""
    anything = math.log(0.4) + flat(x, middle - math.log(2e4), middle + 2.0)
    if beside.inductance_mh is None:
        return anything
    own, other = math.exp(middle), beside.inductance_mh.value * 1e-3
    both = math.log(own * other / (own + other))
    return float(np.logaddexp(anything, math.log(0.6) + float(normal(x, both, _BESIDE_HENRY))))


def _steady_of_type(measured: Estimate, load: LoadType) -> float:
    due = load.steady_current_a
    if due is None:
        return BROAD
    sigma = math.hypot(due.tolerance_percent / 100.0 / math.sqrt(3.0), measured.relative, _OWN_STEADY)
    return float(normal(math.log(measured.value), math.log(due.value), sigma))


def _henry_of_type(measured: Estimate, load: LoadType) -> float:
    if load.inductance_mh is None or measured.value <= 0.0:
        return BROAD
    tolerance = load.inductance_mh.tolerance_percent / 100.0
    sigma = math.sqrt((tolerance / math.sqrt(3.0)) ** 2 + measured.relative**2 + _OWN_HENRY**2)
    return float(normal(math.log(measured.value), math.log(load.inductance_mh.value * 1e-3), sigma))

"""Could an armature have moved unnoticed? A test of the plain rise against one with a stroke in it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from loomproof.measure.rise import RiseFit

    Floats = NDArray[np.float64]

_FIT_P = 1e-3  # a plain fit less probable than this is no explanation
_POWER = 4.4  # sigma by which a stroke must have shown: 3.1 for each kind of error, less what both share


def stroke_pattern(since_s: Floats, fit: RiseFit, landing_s: float, stroke: float) -> Floats:
    """What a stroke adds to a plain rise, per sample, zero before the landing.

    The flux is continuous and the inductance is larger by `stroke` afterwards: the current falls to 1 / (1
    + stroke) of itself and goes on with the longer time constant.
    """
    plain = fit.amplitude_a * -np.expm1(-since_s / fit.tau_s) + fit.start_a * np.exp(-since_s / fit.tau_s)
    at_landing = float(np.interp(landing_s, since_s, plain)) / (1.0 + stroke)
    after = np.maximum(since_s - landing_s, 0.0) / (fit.tau_s * (1.0 + stroke))
    moved = fit.amplitude_a + (at_landing - fit.amplitude_a) * np.exp(-after)
    return np.where(since_s >= landing_s, moved - plain, 0.0)


def visibility(since_s: Floats, u_a: Floats, fit: RiseFit, landing_s: float, stroke: float) -> float:
    """Sigma by which that stroke stands out of the noise once R, L (and the start) are fitted anew."""
    x = since_s / fit.tau_s
    decay = np.exp(-x)
    columns = [1.0 - decay, (fit.start_a - fit.amplitude_a) * x * decay]
    if fit.covariance.shape[0] == 3:
        columns.append(decay)
    basis = np.column_stack(columns) / u_a[:, None]
    pattern = stroke_pattern(since_s, fit, landing_s, stroke) / u_a
    solution, *_ = np.linalg.lstsq(basis, pattern, rcond=None)
    return float(np.linalg.norm(pattern - basis @ solution))


def explained_without_motion(
    time_s: Floats, u_a: Floats, fit: RiseFit, span_s: tuple[float, float], least_stroke: float
) -> bool:
    """True when the plain rise fits and every landing in the usual span would have been seen.

    Args:
        time_s: (n,) instants of the pulse.
        u_a: (n,) standard uncertainties.
        fit: the plain rise over the whole pulse.
        span_s: earliest and latest usual landing.
        least_stroke: smallest relative rise of inductance to be excluded.
    """
    chi2 = fit.chi2_reduced * fit.dof
    if float(special.chdtrc(fit.dof, chi2)) < _FIT_P:
        return False
    reach = float(special.ndtri(1.0 - _FIT_P)) * math.sqrt(2.0)
    seen = [visibility(time_s, u_a, fit, t, least_stroke) for t in np.linspace(*span_s, 5)]
    return min(seen) > max(reach, _POWER)

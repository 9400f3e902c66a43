"""How fast a wave of temperature that goes down into uniform soil shrinks and turns."""

from __future__ import annotations

from math import pi, sqrt

S_PER_DAY = 86_400.0
YEAR_D = 365.2425


def damping_depth_m(diffusivity_m2_s: float, period_d: float) -> float:
    """Return the depth over which a wave shrinks by the factor e, and turns by one radian [m].

    Parameters
    ----------
    diffusivity_m2_s : float
        Thermal diffusivity of the soil. [m2/s]
    period_d : float
        Of the wave: 1 for the daily, `YEAR_D` for the annual one. [d]

    References
    ----------
    [HILLEL-1982].
    """
    return sqrt(diffusivity_m2_s * period_d * S_PER_DAY / pi)

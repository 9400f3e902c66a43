"""Heat conducted down through uniform soil, step by step (Crank and Nicolson): the third way."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

SPACING_M = 0.02
BELOW_M = 8.0  # from the target down to where little of a yearly wave is left


def conduct(
    upper_c: NDArray[np.float64],
    initial_c: NDArray[np.float64],
    diffusivity_m2_s: float,
    spacing_m: float,
    step_s: float,
) -> NDArray[np.float64]:
    """Return the temperature of equally spaced nodes under a measured one, at every time.

    Parameters
    ----------
    upper_c : array, shape (n_times, n_series)
        Temperature of the topmost node, `step_s` apart, without NaN; series side by side. [degC]
    initial_c : array, shape (n_nodes, n_series)
        Temperature of all nodes at the first time; at the topmost its own counts. [degC]
    diffusivity_m2_s : float
        [m2/s]
    spacing_m : float
        Of the nodes. [m]
    step_s : float
        [s]

    Returns
    -------
    array, shape (n_times, n_nodes, n_series)
        [degC]

    No heat passes the lowest node. Stable for any step, and exact to second order in step and
    spacing.

    References
    ----------
    [CRANK-1947].
    """
    half = diffusivity_m2_s * step_s / (2 * spacing_m**2)
    nodes = initial_c.shape[0]
    bands = np.empty((3, nodes))
    bands[0], bands[1], bands[2] = -half, 1 + 2 * half, -half
    bands[1, 0], bands[0, 1] = 1.0, 0.0
    bands[2, -2] *= 2  # a mirror below the lowest node: as warm there as above it

    found_c = np.empty((upper_c.shape[0], *initial_c.shape))
    found_c[0] = initial_c
    found_c[0, 0] = upper_c[0]
    for time in range(1, upper_c.shape[0]):
        now_c = found_c[time - 1]
        known_c = np.empty_like(now_c)
        known_c[1:-1] = now_c[1:-1] + half * (now_c[:-2] - 2 * now_c[1:-1] + now_c[2:])
        known_c[0] = upper_c[time]
        known_c[-1] = now_c[-1] + 2 * half * (now_c[-2] - now_c[-1])
        found_c[time] = solve_banded((1, 1), bands, known_c, check_finite=False)
    return found_c


def by_conduction(
    departures_c: NDArray[np.float64], step_s: float, distance_m: float, diffusivity_m2_s: float
) -> NDArray[np.float64]:
    """Return departures further down by `conduct`.

    Parameters as of `by_steps`. The soil starts without departures, and no heat of theirs passes
    8 m below the target.
    """
    steps = max(1, round(distance_m / SPACING_M))
    spacing_m = distance_m / steps
    nodes = steps + 1 + round(BELOW_M / spacing_m)
    initial_c = np.zeros((nodes, departures_c.shape[1]))
    return conduct(departures_c, initial_c, diffusivity_m2_s, spacing_m, step_s)[:, steps]

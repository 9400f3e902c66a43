"""Heat conducted down through uniform soil, step by step (Crank and Nicolson)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded


def conduct(
    upper_c: NDArray[np.float64],
    initial_c: NDArray[np.float64],
    diffusivity_m2_s: float,
    spacing_m: float,
    step_s: float,
    lower_c: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Return the temperature of equally spaced nodes under a measured one, at every time.

    Parameters
    ----------
    upper_c : array, shape (n_times, n_series)
        Temperature of the topmost node, `step_s` apart, without NaN; series side by side. [degC]
    initial_c : array, shape (n_nodes, n_series)
        Temperature of all nodes at the first time; at a given end the end's own counts. [degC]
    diffusivity_m2_s : float
        [m2/s]
    spacing_m : float
        Of the nodes. [m]
    step_s : float
        [s]
    lower_c : array, shape (n_times, n_series), optional
        Temperature of the lowest node; without it no heat passes there. [degC]

    Returns
    -------
    array, shape (n_times, n_nodes, n_series)
        [degC]

    Stable for any step, and exact to second order in step and spacing. An explicit scheme is
    stable only up to step = spacing^2 / (2 diffusivity).

    References
    ----------
    [CRANK-1947].
    """
    half = diffusivity_m2_s * step_s / (2 * spacing_m**2)
    nodes = initial_c.shape[0]
    bands = np.empty((3, nodes))
    bands[0], bands[1], bands[2] = -half, 1 + 2 * half, -half
    bands[1, 0], bands[0, 1] = 1.0, 0.0
    if lower_c is None:
        bands[2, -2] *= 2  # a mirror below the lowest node: as warm there as above it
    else:
        bands[1, -1], bands[2, -2] = 1.0, 0.0

    found_c = np.empty((upper_c.shape[0], *initial_c.shape))
    found_c[0] = initial_c
    found_c[0, 0] = upper_c[0]
    if lower_c is not None:
        found_c[0, -1] = lower_c[0]
    for time in range(1, upper_c.shape[0]):
        now_c = found_c[time - 1]
        known_c = np.empty_like(now_c)
        known_c[1:-1] = now_c[1:-1] + half * (now_c[:-2] - 2 * now_c[1:-1] + now_c[2:])
        known_c[0] = upper_c[time]
        if lower_c is None:
            known_c[-1] = now_c[-1] + 2 * half * (now_c[-2] - now_c[-1])
        else:
            known_c[-1] = lower_c[time]
        found_c[time] = solve_banded((1, 1), bands, known_c, check_finite=False)
    return found_c

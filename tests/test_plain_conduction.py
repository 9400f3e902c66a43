"""Conduction by steps, the third way to carry: against the closed form and against a library."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from tests.plain_conduction import conduct
from tests.plain_waves import DampedWave
from tests.soil_hours import profile_hours

DAILY = DampedWave(20.0, 10.0, 0.2, 5e-7, 1.0)


def test_hourly_steps_on_two_centimetres_meet_the_daily_wave_within_a_tenth() -> None:
    depths_m = np.arange(31) * 0.02
    truth_c = np.array([DAILY.temp_c(depth_m, np.arange(73) / 24) for depth_m in depths_m]).T
    found_c = conduct(truth_c[:, :1], truth_c[0, :, np.newaxis], 5e-7, 0.02, 3_600.0)
    # by hand: at 60 cm, where no heat passes, 10 exp(-0.6 / 0.11726) = 0.06 degC are left
    assert np.abs(found_c[..., 0] - truth_c).max() < 0.10  # degC, of a wave of 10 degC


def test_a_solver_of_ordinary_equations_conducts_the_same_from_real_readings() -> None:
    # [UTAH-PROFILE]: ten days at 10 cm from above, straight lines between the hours; by scipy's
    # stiff solver, node by node, which knows nothing of Crank and Nicolson
    _, hourly_c = profile_hours()
    upper_c = hourly_c[1, 24 * 90 : 24 * 100]
    spacing_m, diffusivity_m2_s, nodes = 0.05, 5e-7, 21
    start_c = np.full(nodes, upper_c[0])
    hours_s = np.arange(upper_c.size) * 3_600.0

    def slopes(time_s: float, deeper_c: NDArray[np.float64]) -> NDArray[np.float64]:
        node_c = np.r_[np.interp(time_s, hours_s, upper_c), deeper_c, deeper_c[-2]]
        return diffusivity_m2_s / spacing_m**2 * (node_c[:-2] - 2 * node_c[1:-1] + node_c[2:])

    solved = solve_ivp(
        slopes,
        (0, hours_s[-1]),
        start_c[1:],
        method="BDF",
        t_eval=hours_s,
        max_step=1_800,
        rtol=1e-6,
        atol=1e-6,
    )
    found_c = conduct(
        upper_c[:, np.newaxis], start_c[:, np.newaxis], diffusivity_m2_s, spacing_m, 3_600.0
    )
    assert np.abs(found_c[:, 1:, 0].T - solved.y).max() < 0.1  # degC, by hourly steps of up to 3

"""Conduction by steps: against the closed form, and stable where an explicit scheme is not."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from probes.soil.conduction import conduct
from probes.soil.damped_wave import DampedWave
from tests.soil_hours import profile_hours

DAILY = DampedWave(20.0, 10.0, 0.2, 5e-7, 1.0)
BOTTOM_M = 0.6


def largest_error_c(spacing_m: float, step_s: float, lower: bool = True) -> float:
    """Return how far conduction strays from the daily wave within three days [degC]."""
    depths_m = np.arange(round(BOTTOM_M / spacing_m) + 1) * spacing_m
    time_d = np.arange(0, 3 * 86_400 + 1, step_s) / 86_400
    truth_c = np.array([DAILY.temp_c(depth_m, time_d) for depth_m in depths_m]).T
    found_c = conduct(
        truth_c[:, :1],
        truth_c[0, :, np.newaxis],
        DAILY.diffusivity_m2_s,
        spacing_m,
        step_s,
        truth_c[:, -1:] if lower else None,
    )
    return float(np.abs(found_c[..., 0] - truth_c).max())


def largest_after_steps_c(spacing_m: float, step_s: float, diffusivity_m2_s: float) -> float:
    """Return what an explicit scheme makes of a profile that zigzags by 1 degC, after 500 steps."""
    ratio = diffusivity_m2_s * step_s / spacing_m**2
    now_c = zigzag_c()
    for _ in range(500):
        now_c[1:-1] += ratio * (now_c[:-2] - 2 * now_c[1:-1] + now_c[2:])
    return float(np.abs(now_c).max())


def zigzag_c() -> NDArray[np.float64]:
    """Return the profile that an explicit scheme bears least, zero at both ends [degC]."""
    nodes = np.arange(101)
    return np.where(nodes % 2 == 0, -1.0, 1.0) * np.sin(np.pi * nodes / 100)


EXPLICIT_LIMITS = pytest.mark.parametrize(
    ("spacing_m", "diffusivity_m2_s", "limit_s"),
    [  # by hand: dz^2 / (2 alpha)
        (0.01, 5e-7, 100.0),
        (0.05, 5e-7, 2_500.0),
        (0.10, 5e-7, 10_000.0),
        (0.05, 1e-6, 1_250.0),
    ],
)


def test_hourly_steps_on_two_centimetres_meet_the_daily_wave_within_five_hundredths() -> None:
    assert largest_error_c(0.02, 3_600.0) < 0.05  # degC, of a wave of 10 degC


def test_half_the_spacing_and_half_the_step_leave_a_quarter_of_the_error() -> None:
    coarse_c, fine_c = largest_error_c(0.04, 3_600.0), largest_error_c(0.02, 1_800.0)
    assert coarse_c / fine_c == pytest.approx(4.0, rel=0.1)


def test_a_bottom_without_flux_hardly_matters_five_damping_depths_down() -> None:
    # by hand: at 60 cm 10 exp(-0.6 / 0.11726) = 0.06 degC of the wave are left
    assert largest_error_c(0.02, 3_600.0, lower=False) < 0.10  # degC


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


@EXPLICIT_LIMITS
def test_an_explicit_scheme_holds_at_its_limit(
    spacing_m: float, diffusivity_m2_s: float, limit_s: float
) -> None:
    assert largest_after_steps_c(spacing_m, limit_s, diffusivity_m2_s) <= 1.0  # degC


@EXPLICIT_LIMITS
def test_an_explicit_scheme_blows_up_beyond_its_limit(
    spacing_m: float, diffusivity_m2_s: float, limit_s: float
) -> None:
    assert largest_after_steps_c(spacing_m, 1.02 * limit_s, diffusivity_m2_s) > 1e6  # degC


@EXPLICIT_LIMITS
def test_ours_holds_far_beyond_the_limit_of_an_explicit_scheme(
    spacing_m: float, diffusivity_m2_s: float, limit_s: float
) -> None:
    still_c = np.zeros((501, 1))
    found_c = conduct(
        still_c, zigzag_c()[:, np.newaxis], diffusivity_m2_s, spacing_m, 50 * limit_s, still_c
    )
    assert np.abs(found_c[-1]).max() < 0.01  # degC


def test_between_two_steady_temperatures_the_soil_comes_to_a_straight_line() -> None:
    warm_c, cool_c = np.full((200, 1), 20.0), np.full((200, 1), 10.0)
    found_c = conduct(warm_c, np.full((11, 1), 10.0), 5e-7, 0.05, 86_400.0, cool_c)
    assert found_c[-1, :, 0] == pytest.approx(np.linspace(20, 10, 11), abs=1e-5)  # degC


def test_a_bottom_without_flux_takes_the_temperature_of_the_surface_in_the_end() -> None:
    warm_c = np.full((400, 1), 20.0)
    found_c = conduct(warm_c, np.full((11, 1), 10.0), 5e-7, 0.05, 86_400.0)
    assert found_c[-1, -1, 0] == pytest.approx(20.0, abs=1e-6)  # degC


def test_a_bottom_without_flux_is_the_middle_of_soil_twice_as_deep_warmed_from_both_ends() -> None:
    upper_c = DAILY.temp_c(0.0, np.arange(72) / 24)[:, np.newaxis]
    half_c = conduct(upper_c, np.full((11, 1), 15.0), 5e-7, 0.02, 3_600.0)
    whole_c = conduct(upper_c, np.full((21, 1), 15.0), 5e-7, 0.02, 3_600.0, upper_c)
    assert half_c == pytest.approx(whole_c[:, :11], abs=1e-12)  # degC


def test_series_side_by_side_do_not_touch_each_other() -> None:
    rng = np.random.default_rng(20260505)
    upper_c, initial_c = rng.normal(size=(50, 3)), rng.normal(size=(11, 3))
    together_c = conduct(upper_c, initial_c, 5e-7, 0.05, 3_600.0)
    alone_c = conduct(upper_c[:, 1:2], initial_c[:, 1:2], 5e-7, 0.05, 3_600.0)
    assert together_c[..., 1:2] == pytest.approx(alone_c, abs=1e-12)  # degC

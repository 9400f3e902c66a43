"""Damping depths against published soils and by hand."""

from __future__ import annotations

import pytest

from probes.soil.damped_wave import YEAR_D, damping_depth_m


@pytest.mark.parametrize(
    ("conductivity_w_m_k", "capacity_mj_m3_k", "alpha_e6", "daily_m", "annual_m"),
    [  # source: [MOENE-2014] table 2.2, alpha to its two digits; by hand: damping depths
        pytest.param(0.24, 1.28, 0.19, 0.0723, 1.381, id="sand, loose, dry"),
        pytest.param(2.1, 2.12, 0.99, 0.1650, 3.152, id="sand, loose, moist"),
        pytest.param(0.9, 2.27, 0.40, 0.1049, 2.004, id="clay, moist"),
        pytest.param(1.4, 3.10, 0.45, 0.1112, 2.125, id="clay, wet"),
        pytest.param(0.50, 4.01, 0.12, 0.0574, 1.098, id="peat, wet"),
    ],
)
def test_soils_of_a_handbook_damp_waves_as_their_conductivity_and_capacity_say(
    conductivity_w_m_k: float,
    capacity_mj_m3_k: float,
    alpha_e6: float,
    daily_m: float,
    annual_m: float,
) -> None:
    assert conductivity_w_m_k / capacity_mj_m3_k == pytest.approx(alpha_e6, abs=0.006)
    found_m = [damping_depth_m(alpha_e6 * 1e-6, period_d) for period_d in (1.0, 365.0)]
    assert found_m == pytest.approx([daily_m, annual_m], rel=1e-3)


@pytest.mark.parametrize(
    ("diffusivity_m2_s", "daily_m", "annual_m"),
    [  # by hand: sqrt(alpha P / pi), for a year of 365 days
        (2e-7, 0.07416, 1.41691),
        (4e-7, 0.10488, 2.00382),
        (5e-7, 0.11726, 2.24034),
        (7e-7, 0.13875, 2.65080),
        (1e-6, 0.16584, 3.16832),
    ],
)
def test_damping_depths_by_hand(diffusivity_m2_s: float, daily_m: float, annual_m: float) -> None:
    found = [damping_depth_m(diffusivity_m2_s, period_d) for period_d in (1.0, 365.0)]
    assert found == pytest.approx([daily_m, annual_m], rel=0, abs=5e-5)


def test_damping_depths_of_a_grassland_fit_one_diffusivity_within_a_tenth() -> None:
    # source: [JACOBS-2011] 1.80 m annual and 0.10 m daily; one soil would give sqrt(365.2425)
    ratio = damping_depth_m(3.4e-7, YEAR_D) / damping_depth_m(3.4e-7, 1.0)
    assert ratio == pytest.approx(1.80 / 0.10, rel=0.1)

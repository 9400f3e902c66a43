"""The soil as its probes tell it: a generated climate of known soil, and a real profile."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from probes.soil.survey import DepthWaves, Layer, survey
from tests.generated_climate import DEPTHS_CM, Truth, generate
from tests.soil_hours import PROFILE_DEPTHS_CM, profile_hours

CALM = Truth(half_yearly_amplitude_c=0.0, weather=((0.1, 4.0),))


@cache
def generated() -> tuple[list[DepthWaves], list[Layer]]:
    """Return the survey of two years of hardly any weather, in soil of 0.5 mm2/s."""
    climate = generate(seed=3, years=2, first_year=2001, truth=CALM)
    return survey(climate.time_d - 1 / 48, climate.soil_temp_c, DEPTHS_CM)


def test_the_yearly_wave_is_damped_as_the_closed_form_has_it() -> None:
    yearly, _ = CALM.waves
    found_c = [one.yearly_c for one in generated()[0]]
    assert found_c == pytest.approx([yearly.amplitude_c(z / 100) for z in DEPTHS_CM], abs=0.1)


def test_the_yearly_wave_is_warmest_half_a_year_after_it_is_coldest_and_later_with_depth() -> None:
    # by hand: coldest on day 20, warmest 182.6 d later, plus the lag of the depth; of 1970 + 31 y
    yearly, _ = CALM.waves
    expected_d = [20 + 182.6 + yearly.lag_d(z / 100) for z in DEPTHS_CM]
    assert [one.warmest_d for one in generated()[0]] == pytest.approx(expected_d, abs=1.5)


def test_the_daily_wave_comes_later_with_depth() -> None:
    # by hand: 14:00 at the surface, z / d of a turn of 24 h / 2 pi later, d = 11.7 cm
    expected_h = [(14 + z / 11.726 * 24 / (2 * np.pi)) % 24 for z in DEPTHS_CM[:2]]
    found_h = [one.warmest_h for one in generated()[0][:2]]
    assert found_h == pytest.approx(expected_h, abs=0.7)  # the stamp of an hour is its middle


def test_the_soil_comes_out_as_it_was_put_in() -> None:
    (upper, _) = generated()[1]
    assert upper.diffusivity.best == pytest.approx(5e-7, rel=0.03)
    assert upper.damping_depths_m == pytest.approx((0.1173, 2.241), rel=0.02)
    assert upper.is_agreed


def test_less_than_a_year_has_no_yearly_wave() -> None:
    time_d, hourly_c = profile_hours()
    whole = slice(0, time_d.size // 24 * 24)
    waves, _ = survey(time_d[whole], hourly_c[:, whole], PROFILE_DEPTHS_CM)
    assert np.isnan([one.yearly_c for one in waves]).all()
    assert all(one.daily_c > 0 for one in waves)


def test_a_real_profile_has_layers_that_agree_below_the_dry_top() -> None:
    # [UTAH-PROFILE], August and September, as found
    time_d, hourly_c = profile_hours()
    whole = slice(0, time_d.size // 24 * 24)
    _, layers = survey(time_d[whole], hourly_c[:, whole], PROFILE_DEPTHS_CM)
    assert [layer.is_agreed for layer in layers[1:5]] == [True] * 4


def test_a_depth_without_recent_readings_has_no_layer_and_no_daily_wave() -> None:
    climate = generate(seed=3, years=1, first_year=2001, truth=CALM)
    hourly_c = climate.soil_temp_c.copy()
    hourly_c[1, -62 * 24 :] = np.nan
    waves, layers = survey(climate.time_d - 1 / 48, hourly_c, DEPTHS_CM)
    assert layers == []
    assert np.isnan(waves[1].daily_c)
    assert waves[1].yearly_c == pytest.approx(10.1, abs=0.5)

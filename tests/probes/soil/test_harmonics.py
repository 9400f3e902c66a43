"""Harmonic fits: what was put in comes out, gaps or not, and the standard errors are honest."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from probes.soil.damped_wave import YEAR_D
from probes.soil.harmonics import days_since_1970, fit_harmonics

PERIODS = (YEAR_D, YEAR_D / 2, 1.0, 0.5)
AMPLITUDES_C, PEAKS_D = [11.0, 1.5, 4.0, 0.8], [200.0, 30.0, 0.625, 0.1]
TWO_YEARS_D = np.arange(2 * 8766) / 24


def curve_c(time_d: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a curve of four waves about 13 degC."""
    waves = [
        amplitude_c * np.cos(2 * np.pi * (time_d - peak_d) / period_d)
        for amplitude_c, peak_d, period_d in zip(AMPLITUDES_C, PEAKS_D, PERIODS, strict=True)
    ]
    return 13.0 + np.sum(waves, axis=0)


def reddened(rng: np.random.Generator, shape: tuple[int, ...], alike: float) -> NDArray[np.float64]:
    """Return noise of variance one whose neighbours along the last axis are alike."""
    white = rng.standard_normal(shape)
    red = np.empty(shape)
    red[..., 0] = white[..., 0]
    for place in range(1, shape[-1]):
        red[..., place] = alike * red[..., place - 1] + np.sqrt(1 - alike**2) * white[..., place]
    return red


def test_instants_count_days_from_1970() -> None:
    instants = np.array(["1970-01-01T00:00", "1970-01-02T06:00"], "datetime64[us]")
    assert days_since_1970(instants).tolist() == [0.0, 1.25]


def test_amplitudes_come_back_from_a_series_with_gaps() -> None:
    value_c = curve_c(TWO_YEARS_D)
    value_c[1000:4000] = np.nan
    value_c[::7] = np.nan
    found = fit_harmonics(TWO_YEARS_D, value_c, PERIODS)
    assert [found.mean_c, *found.amplitude_c] == pytest.approx([13.0, *AMPLITUDES_C], abs=1e-9)


def test_peaks_come_back_from_a_series_with_gaps() -> None:
    value_c = curve_c(TWO_YEARS_D)
    value_c[1000:4000] = np.nan
    assert fit_harmonics(TWO_YEARS_D, value_c, PERIODS).peak_d == pytest.approx(PEAKS_D, abs=1e-7)


def test_the_curve_runs_through_gaps() -> None:
    value_c = curve_c(TWO_YEARS_D)
    value_c[1000:4000] = np.nan
    found_c = fit_harmonics(TWO_YEARS_D, value_c, PERIODS).temp_c(TWO_YEARS_D)
    assert found_c == pytest.approx(curve_c(TWO_YEARS_D), abs=1e-9)  # degC


@pytest.mark.parametrize("period_d", [YEAR_D, 8.0], ids=["slow", "quick"])
@pytest.mark.parametrize("alike", [0.0, 0.8], ids=["white", "red"])
def test_a_standard_error_holds_two_thirds_of_the_errors(alike: float, period_d: float) -> None:
    rng = np.random.default_rng(20260501)
    time_d = np.arange(3 * 365, dtype=np.float64)
    truth_c = 10 * np.cos(2 * np.pi * (time_d - 200) / period_d)
    fits = [
        fit_harmonics(time_d, truth_c + 2 * noise_c, (period_d,))
        for noise_c in reddened(rng, (300, time_d.size), alike)
    ]
    within = [abs(fit.amplitude_c[0] - 10) < fit.wave_se_c[0] for fit in fits]
    # 68 % of a normal error lie within one standard error; 300 trials know that to 8 points
    assert np.mean(within) == pytest.approx(0.683, abs=0.08)


def test_a_third_of_a_year_hardly_knows_the_annual_wave() -> None:
    rng = np.random.default_rng(20260503)
    time_d = np.arange(3 * 365, dtype=np.float64)
    value_c = 10 * np.cos(2 * np.pi * (time_d - 200) / YEAR_D) + rng.standard_normal(time_d.size)
    long, short = (fit_harmonics(time_d[:n], value_c[:n], (YEAR_D,)) for n in (3 * 365, 120))
    assert short.wave_se_c[0] > 8 * long.wave_se_c[0]


def test_too_few_readings_are_refused() -> None:
    with pytest.raises(ValueError, match="3 readings are too few to fit 3 numbers"):
        fit_harmonics(np.arange(4.0), np.array([1.0, 2.0, np.nan, 4.0]), (YEAR_D,))

"""A general climate-index library agrees on the five-day mean and the first crossing of 64 °F."""

from __future__ import annotations

import warnings
from datetime import date
from types import ModuleType

import numpy as np
import pytest
import xarray

from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import trailing_mean
from tests import reference_curve
from tests.plain_soil import ALFALFA, root_zone_days
from tests.windows_by_hand import engine_spans

FIRST_DAY, DAYS = date(2015, 1, 1), 365


@pytest.fixture(scope="module")
def run_length() -> ModuleType:
    """The library's spell functions; imported late, as that takes seconds."""
    with warnings.catch_warnings():
        # it says on import that it will draw no charts, for want of a package it does not need
        warnings.filterwarnings("ignore", message=".*matplotlib support", category=UserWarning)
        from xclim.indices import run_length
    return run_length


def by_day(first_day: date, values_c: np.ndarray) -> xarray.DataArray:
    """Return a daily series as the library takes it."""
    time = np.datetime64(first_day, "ns") + np.arange(values_c.size) * np.timedelta64(1, "D")
    return xarray.DataArray(values_c, coords={"time": time}, dims="time")


def five_day_mean(daily_c: xarray.DataArray) -> xarray.DataArray:
    """Return R by the library's own rolling window, on days that have a value."""
    return daily_c.rolling(time=5, min_periods=4).mean().where(daily_c.notnull())


@pytest.fixture(scope="module")
def curve_c() -> np.ndarray:
    """Daily means of reference curve R at 30 cm, for the year 2015."""
    return reference_curve.mean_c(0.3, np.arange(1.0, DAYS + 1), 1)


@pytest.fixture(scope="module")
def real_soil() -> xarray.DataArray:
    """Root-zone days of a research station over six seasons, with gaps."""
    values = root_zone_days(ALFALFA)
    first_day = min(values)
    series_c = np.full((max(values) - first_day).days + 1, np.nan)
    for day, value_c in values.items():
        series_c[(day - first_day).days] = value_c
    return by_day(first_day, series_c)


def test_the_library_finds_the_same_five_day_means(real_soil: xarray.DataArray) -> None:
    found_c = trailing_mean(real_soil.values, GRAPE_PHYLLOXERA)
    expected_c = five_day_mean(real_soil).values
    assert found_c == pytest.approx(expected_c, abs=1e-9, nan_ok=True)  # degC


def test_the_library_finds_the_same_opening_of_the_reference_curve(
    run_length: ModuleType, curve_c: np.ndarray
) -> None:
    warm = five_day_mean(by_day(FIRST_DAY, curve_c)) >= (64 - 32) / 1.8
    opened_on = run_length.first_run(warm, window=1, dim="time", coord="dayofyear").item()
    spans = engine_spans(curve_c, FIRST_DAY, False, GRAPE_PHYLLOXERA, date(2015, 12, 31))
    # by hand: 64 °F reaches 30 cm at t = 144.547 [REFERENCE-R]; R of day n has its middle at
    # n - 2.5, so n = 147.05 and a little more for its smaller amplitude: day 148, 28 May
    assert (opened_on, spans[0].opened_on) == (148, date(2015, 5, 28))


@pytest.mark.parametrize("season", range(2013, 2019))
def test_the_library_finds_the_same_opening_of_a_real_spring(
    run_length: ModuleType, real_soil: xarray.DataArray, season: int
) -> None:
    from_february = five_day_mean(real_soil).sel(time=slice(f"{season}-02-01", f"{season}-12-31"))
    warm = from_february >= (64 - 32) / 1.8
    first = run_length.first_run(warm, window=1, dim="time", coord=True)
    first_day = real_soil["time"].values[0].astype("datetime64[D]").item()
    spans = engine_spans(real_soil.values, first_day, False, GRAPE_PHYLLOXERA, date(season, 12, 31))
    found = [span.opened_on for span in spans if (span.season, span.kind) == (season, "spring")]
    assert found == [first.values.astype("datetime64[D]").item()]

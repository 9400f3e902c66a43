"""Climatology: a reading far from what the same probe gave at this time of earlier years."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from probes.checks.measures import grade
from probes.checks.series import ProbeSeries
from probes.soil.damped_wave import YEAR_D


@dataclass(frozen=True)
class Climatology:
    """What counts as this time of earlier years, and how far from it is too far.

    around_days : before and after the day; [NCEI-SOILCLIM] takes as many for station soils [d]
    years : the last ones, each needed to have readings on half of those days; ours
    needs_years : fewer are too little history; ours
    margin_c : beyond the lowest and highest of those readings; ours [degC]
    """

    around_days: int = 15
    years: int = 10
    needs_years: int = 2
    margin_c: float = 5.0


def flag_climatology(
    series: ProbeSeries, history: ProbeSeries, climatology: Climatology
) -> NDArray[np.int8]:
    """Return the result of each reading: suspect at worst, not evaluated with little history.

    Parameters
    ----------
    series : ProbeSeries, n readings
    history : ProbeSeries
        Those of the same probe to judge them by; of these only earlier years count.
    climatology : Climatology

    References
    ----------
    [IOOS-QARTOD] test 5; its open implementation, too, gives no more than suspect by its default.
    """
    low_c, high_c = _find_span(series, history, climatology)
    value_c = series.soil_temp_c
    return grade(np.maximum(low_c - value_c, value_c - high_c), climatology.margin_c, inf)


def find_years_d(climatology: Climatology) -> list[int]:
    """Return how many days before a day the same one of each earlier year lies. [d]"""
    return [round(back * YEAR_D) for back in range(1, climatology.years + 1)]


def explain_climatology(
    series: ProbeSeries, place: int, history: ProbeSeries, climatology: Climatology
) -> str:
    """Return between which readings this time of earlier years lay."""
    reading = series.where(slice(place, place + 1))
    low_c, high_c = (float(end[0]) for end in _find_span(reading, history, climatology))
    if np.isnan(low_c):
        return f"fewer than {climatology.needs_years} earlier years with readings at this time"
    return (
        f"{series.soil_temp_c[place]:.1f} °C, where earlier years had {low_c:.1f} to {high_c:.1f} "
        f"°C within {climatology.around_days} days of this date; {climatology.margin_c:g} °C "
        "beyond that is the limit"
    )


def _find_span(
    series: ProbeSeries, history: ProbeSeries, climatology: Climatology
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return for each reading the lowest and highest of earlier years, NaN with little history."""
    around = climatology.around_days
    days, of_reading = np.unique(_day_of(series), return_inverse=True)
    known, starts = np.unique(_day_of(history), return_index=True)
    lowest, highest = (
        end.reduceat(history.soil_temp_c, starts) if starts.size else np.empty(0)
        for end in (np.minimum, np.maximum)
    )
    low_c, high_c = np.full(days.size, np.inf), np.full(days.size, -np.inf)
    years = np.zeros(days.size, np.int64)
    for back_d in find_years_d(climatology):
        window = (days - back_d)[:, None] + np.arange(-around, around + 1)
        place = np.minimum(np.searchsorted(known, window), known.size - 1)
        there = known[place] == window if known.size else np.zeros(window.shape, np.bool_)
        enough = 2 * there.sum(axis=1) > 2 * around
        if not enough.any():
            continue
        years += enough
        lows = np.where(there, lowest[place], np.inf).min(axis=1)
        highs = np.where(there, highest[place], -np.inf).max(axis=1)
        low_c = np.where(enough, np.minimum(low_c, lows), low_c)
        high_c = np.where(enough, np.maximum(high_c, highs), high_c)
    little = years < climatology.needs_years
    low_c[little], high_c[little] = np.nan, np.nan
    return low_c[of_reading], high_c[of_reading]


def _day_of(series: ProbeSeries) -> NDArray[np.int64]:
    return series.observed_at.astype("datetime64[D]").astype(np.int64)

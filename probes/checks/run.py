"""All checks of a logger's probes, one after the other, and their reasons in words."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from probes.checks.attenuated import explain_attenuated, flag_attenuated
from probes.checks.climatology import explain_climatology, flag_climatology
from probes.checks.daily_range import explain_daily_range, flag_daily_range
from probes.checks.daily_wave import DailyWaves, find_daily_waves
from probes.checks.flat_line import explain_flat_line, flag_flat_line
from probes.checks.gross_range import explain_gross_range, flag_gross_range
from probes.checks.neighbours import explain_neighbours, flag_neighbours
from probes.checks.power_on import explain_power_on, flag_power_on
from probes.checks.rate_of_change import explain_rate_of_change, flag_rate_of_change
from probes.checks.results import BY_WAVES, EACH_ALONE, TESTS, pack
from probes.checks.series import ProbeSeries
from probes.checks.spike import explain_spike, flag_spike
from probes.checks.thresholds import Thresholds
from probes.frames import FAIL, NOT_EVALUATED, SUSPECT

Results = dict[str, NDArray[np.int8]]


def check_logger(
    probes: Sequence[ProbeSeries],
    thresholds: Thresholds | None = None,
    tests: Collection[str] = TESTS,
) -> list[NDArray[np.int32]]:
    """Return the code of every reading of a logger (`unpack` and `roll_up` read it).

    Parameters
    ----------
    probes : sequence of ProbeSeries
        All probes of one logger, in any order: neighbours are judged by each other.
    thresholds : Thresholds, optional
        The defaults where left out.
    tests : collection of str
        Of TESTS; the others are not evaluated. CHECKS gives those of a site's key.

    Returns
    -------
    codes : list of array of int32, one of shape (n,) for each series

    What gross range and power-on do not believe is no reading to the tests behind them, even where
    only the latter are asked for.
    """
    thresholds = thresholds or Thresholds()
    first = [_find_first(series, thresholds) for series in probes]
    believed = [_find_believed(results) for results in first]
    kept = [series.where(which) for series, which in zip(probes, believed, strict=True)]
    is_further = not set(tests).issubset(EACH_ALONE)
    further = _find_further(kept, thresholds, tests) if is_further else [{}] * len(kept)
    return [
        pack(
            {
                test: flag
                for test, flag in (of_first | _spread(of_kept, which)).items()
                if test in tests
            },
            which.size,
        )
        for of_first, of_kept, which in zip(first, further, believed, strict=True)
    ]


def explain(
    test: str,
    probes: Sequence[ProbeSeries],
    probe: int,
    place: int,
    thresholds: Thresholds | None = None,
) -> str:
    """Return in words, with the numbers, why a test gave a reading another result than good.

    Parameters
    ----------
    test : str
        Of TESTS.
    probes : sequence of ProbeSeries
        As for `check_logger`; from `reach` before to after the reading is enough.
    probe, place : int
        The series in `probes`, and the reading in it.
    thresholds : Thresholds, optional
    """
    thresholds = thresholds or Thresholds()
    series = probes[probe]
    if test == "gross_range":
        return explain_gross_range(series.soil_temp_c[place], thresholds.gross_range)
    if test == "power_on":
        return explain_power_on(series, place, thresholds.power_on)
    believed = [_find_believed(_find_first(each, thresholds)) for each in probes]
    if not believed[probe][place]:
        return "the value itself is not believed"
    kept = [each.where(which) for each, which in zip(probes, believed, strict=True)]
    calm = [_find_calm(each, _find_steps(each, thresholds)) for each in kept]
    series, place = kept[probe], int(believed[probe][:place].sum())
    match test:
        case "spike":
            return explain_spike(series, place, thresholds.spike)
        case "rate_of_change":
            return explain_rate_of_change(series, place, thresholds.rate_of_change)
        case "flat_line":
            return explain_flat_line(series, place, thresholds.flat_line)
        case "attenuated":
            return explain_attenuated(series, place, thresholds.attenuated)
        case "climatology":
            return explain_climatology(series, place, calm[probe], thresholds.climatology)
    waves = _find_waves(kept, calm, thresholds)
    if test == "daily_range":
        return explain_daily_range(series, place, waves, probe, thresholds.daily_range)
    return explain_neighbours(kept, probe, place, waves, thresholds.neighbours)


def _find_first(series: ProbeSeries, thresholds: Thresholds) -> Results:
    return {
        "gross_range": flag_gross_range(series.soil_temp_c, thresholds.gross_range),
        "power_on": flag_power_on(series, thresholds.power_on),
    }


def _find_believed(first: Results) -> NDArray[np.bool_]:
    return (first["gross_range"] != FAIL) & (first["power_on"] < SUSPECT)


def _find_further(
    kept: Sequence[ProbeSeries], thresholds: Thresholds, tests: Collection[str]
) -> list[Results]:
    """Return the results of the tests behind the first two, of those that are asked for."""
    results = [_find_steps(series, thresholds) for series in kept]
    calm = [_find_calm(series, of_it) for series, of_it in zip(kept, results, strict=True)]
    for probe, series in enumerate(kept):
        of_itself = {
            "flat_line": partial(flag_flat_line, series, thresholds.flat_line),
            "attenuated": partial(flag_attenuated, series, thresholds.attenuated),
            "climatology": partial(flag_climatology, series, calm[probe], thresholds.climatology),
        }
        results[probe] |= {test: flag() for test, flag in of_itself.items() if test in tests}
    if BY_WAVES.isdisjoint(tests):
        return results
    waves = _find_waves(kept, calm, thresholds)
    by_neighbours = flag_neighbours(kept, waves, thresholds.neighbours)
    for probe, series in enumerate(kept):
        results[probe] |= {
            "daily_range": flag_daily_range(series, waves, probe, thresholds.daily_range),
            "neighbours": by_neighbours[probe],
        }
    return results


def _find_steps(series: ProbeSeries, thresholds: Thresholds) -> Results:
    return {
        "spike": flag_spike(series, thresholds.spike),
        "rate_of_change": flag_rate_of_change(series, thresholds.rate_of_change),
    }


def _find_calm(series: ProbeSeries, steps: Results) -> ProbeSeries:
    """Return the readings by which others are judged: a spike would bend days, and later years.

    Those that only rose too fast stay: a probe out of the ground does so every day.
    """
    return series.where(steps["spike"] < SUSPECT)


def _find_waves(
    kept: Sequence[ProbeSeries], calm: Sequence[ProbeSeries], thresholds: Thresholds
) -> DailyWaves:
    limits = thresholds.neighbours
    return find_daily_waves(kept, calm, limits.days, limits.longest_gap_h)


def _spread(results: Results, believed: NDArray[np.bool_]) -> Results:
    """Return the results of the readings that are believed in the places of all."""
    spread = {}
    for test, flag in results.items():
        spread[test] = np.full(believed.size, NOT_EVALUATED, np.int8)
        spread[test][believed] = flag
    return spread

"""The checks on real soil: it passes, and faults planted in it are found.

[US-TW3], [UTAH-PROFILE]. The shares are what the checks gave when they were written, rounded to
the lenient side: the soil is the peer here, good throughout as far as anyone knows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from probes.checks import ProbeSeries, check_logger, read_thresholds, roll_up, unpack
from probes.frames import NOT_EVALUATED, SUSPECT
from tests.soil_series import profile, profile_air, twitchell

SOILS = {"alfalfa": twitchell, "profile": profile}
LATER = read_thresholds({"spike": {"later": True}})
JUNE = (np.datetime64("2025-06-01"), np.datetime64("2025-07-01"))


def bad_share(codes: Sequence[NDArray[np.int32]]) -> float:
    """Return the share of readings that are suspect or fail."""
    return float((np.concatenate([roll_up(code) for code in codes]) >= SUSPECT).mean())


@cache
def codes_as_found(soil: str) -> list[NDArray[np.int32]]:
    """Return what the checks give a soil as it is."""
    return check_logger(SOILS[soil]())


@cache
def clean_profile() -> tuple[ProbeSeries, ...]:
    """Return the profile where all of its depths have a reading."""
    common = set.intersection(*(set(one.observed_at.tolist()) for one in profile()))
    at = np.array(sorted(common), "datetime64[us]")
    return tuple(one.where(np.isin(one.observed_at, at)) for one in profile())


def in_june(probe: ProbeSeries) -> NDArray[np.bool_]:
    """Return which readings are of June."""
    return (probe.observed_at >= JUNE[0]) & (probe.observed_at < JUNE[1])


def with_values(place: int, value_c: NDArray[np.float64]) -> list[ProbeSeries]:
    """Return the profile with other values at one depth."""
    probes = list(clean_profile())
    probes[place] = replace(probes[place], soil_temp_c=value_c)
    return probes


def june_shares(probes: Sequence[ProbeSeries], *tests: str) -> list[float]:
    """Return the share of each probe's readings in June that some tests find suspect or worse."""
    shares = []
    for probe, code in zip(probes, check_logger(probes), strict=True):
        results = unpack(code[in_june(probe)])
        shares.append(float(np.any([results[test] >= SUSPECT for test in tests], axis=0).mean()))
    return shares


@pytest.mark.parametrize("soil", SOILS)
def test_fewer_than_one_good_reading_in_a_thousand_is_doubted(soil: str) -> None:
    assert bad_share(codes_as_found(soil)) < 0.001


@pytest.mark.parametrize("soil", SOILS)
def test_nor_where_spikes_are_judged_later(soil: str) -> None:
    assert bad_share(check_logger(SOILS[soil](), LATER)) < 0.001


@pytest.mark.parametrize("soil", SOILS)
@pytest.mark.parametrize("resolution_c", [0.0625, pytest.param(0.1, marks=pytest.mark.long), 0.5])
def test_nor_as_coarse_sensors_would_give_it(soil: str, resolution_c: float) -> None:
    coarse = [
        replace(one, soil_temp_c=np.round(one.soil_temp_c / resolution_c) * resolution_c)
        for one in SOILS[soil]()
    ]
    assert bad_share(check_logger(coarse)) < 0.003


@pytest.mark.parametrize("soil", SOILS)
@pytest.mark.parametrize("every", [2, 6])
def test_nor_at_longer_intervals(soil: str, every: int) -> None:
    thinned = [one.where(slice(None, None, every)) for one in SOILS[soil]()]
    assert bad_share(check_logger(thinned)) < 0.001


def test_most_of_the_alfalfa_soil_is_held_against_earlier_years() -> None:
    result = unpack(codes_as_found("alfalfa")[2])["climatology"]
    assert (result == 1).mean() > 0.5


@pytest.mark.parametrize("place", [2, 3, 4, 5, 6], ids=lambda place: f"probe {place}")
def test_every_spike_of_5_degrees_is_found_and_nothing_else_is(place: int) -> None:
    probe = clean_profile()[place]
    spikes = np.arange(200, probe.soil_temp_c.size, 50)
    value_c = probe.soil_temp_c.copy()
    value_c[spikes] += np.where(spikes % 100 == 0, 5.0, -5.0)
    found = roll_up(check_logger(with_values(place, value_c))[place]) >= SUSPECT
    assert np.flatnonzero(found).tolist() == spikes.tolist()


# by hand: 24 h x (1 + 0.2 a cm) at 5, 10 and 30 cm
@pytest.mark.parametrize(("place", "hours"), [(0, 48), (1, 72), (3, 168)])
def test_a_sensor_that_sticks_in_june_is_found_after_its_hours(place: int, hours: int) -> None:
    probe = clean_profile()[place]
    value_c = probe.soil_temp_c.copy()
    value_c[in_june(probe)] = value_c[in_june(probe)][0]
    flat = unpack(check_logger(with_values(place, value_c))[place])["flat_line"] >= SUSPECT
    first, stuck_at = (probe.observed_at[which][0] for which in (flat, in_june(probe)))
    assert first - stuck_at == np.timedelta64(hours, "h")


@pytest.mark.parametrize("upper", [0, 1, 2, 3], ids=lambda place: f"probes {place} and next")
def test_a_pair_of_depths_swapped_for_june_shows_on_both(upper: int) -> None:
    probes = list(clean_profile())
    above_c, below_c = (probes[place].soil_temp_c for place in (upper, upper + 1))
    june = in_june(probes[upper])
    for place, (own_c, other_c) in ((upper, (above_c, below_c)), (upper + 1, (below_c, above_c))):
        probes[place] = replace(probes[place], soil_temp_c=np.where(june, other_c, own_c))
    assert min(june_shares(probes, "neighbours")[upper : upper + 2]) > 0.75


@pytest.mark.parametrize("place", [2, 3, 4, 5, 6], ids=lambda place: f"probe {place}")
def test_a_probe_out_of_the_ground_in_june_is_found_and_its_neighbours_are_not(place: int) -> None:
    probe, air = clean_profile()[place], profile_air()
    air_c = np.interp(
        probe.observed_at.astype(np.int64), air.observed_at.astype(np.int64), air.soil_temp_c
    )
    probes = with_values(place, np.where(in_june(probe), air_c, probe.soil_temp_c))
    shares = june_shares(probes, "daily_range", "neighbours")
    assert shares.pop(place) > 0.8
    assert max(shares) < 0.15


@pytest.mark.parametrize("place", range(7), ids=lambda place: f"probe {place}")
def test_a_drift_of_a_tenth_of_a_degree_a_day_is_found_within_60_days(place: int) -> None:
    probe = clean_profile()[place]
    day = (probe.observed_at - np.datetime64("2025-04-15")) / np.timedelta64(1, "D")
    drifting = with_values(place, probe.soil_temp_c + 0.1 * np.clip(day, 0, 100))
    result = unpack(check_logger(drifting)[place])["neighbours"]
    known = result[(day > 60) & (day < 100) & (result != NOT_EVALUATED)]
    assert set(known) == {SUSPECT}

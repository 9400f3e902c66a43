"""A lost probe bridged: real probes taken out of real soil, and laws."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from probes.soil.bridge import MOST_DAYS, Bridged, bridge
from tests.laws import law
from tests.plain_bridge import plain_bridge
from tests.soil_days import soil_days

BEFORE = 90  # days given before each loss


def losses(
    soil: str, lost_cm: int, others_cm: tuple[int, ...], every_d: int = 7
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]]:
    """Yield days up to 21 days after a loss: with the probe, without it, and of the others."""
    days, by_depth = soil_days(soil)
    truth_c, others_c = by_depth[lost_cm], np.array([by_depth[z] for z in others_cm])
    for day in range(BEFORE, days.size - MOST_DAYS, every_d):
        if not np.isnan(truth_c[day - 1]):
            part = slice(day - BEFORE, day + MOST_DAYS)
            without_c = truth_c[part].copy()
            without_c[BEFORE:] = np.nan
            yield truth_c[part], without_c, others_c[:, part]


Loss = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], Bridged]


@cache
def bridged_losses(soil: str, lost_cm: int, others_cm: tuple[int, ...]) -> list[Loss]:
    """Return each loss, and how it is bridged."""
    return [
        (truth_c, without_c, others_c, bridge(without_c, others_c))
        for truth_c, without_c, others_c in losses(soil, lost_cm, others_cm)
    ]


def rms(values: Sequence[NDArray[np.float64]]) -> float:
    return float(np.sqrt(np.nanmean(np.square(values))))


REAL_LOSSES = pytest.mark.parametrize(
    ("soil", "lost_cm", "others_cm", "bridged_c", "mean_difference_c"),
    [  # [US-TW3], [UTAH-PROFILE], as found: every seventh day lost for 21 days
        ("twitchell", 16, (8, 32), 0.110, 0.171),
        ("twitchell", 32, (16, 8), 0.157, 0.829),
        ("twitchell", 8, (16, 32), 0.190, 0.719),
        ("twitchell", 32, (16,), 0.182, 0.638),
        ("twitchell", 32, (8,), 0.281, 1.028),
        ("twitchell", 16, (32,), 0.276, 0.638),
        ("profile", 30, (20, 40), 0.025, 0.066),
        ("profile", 40, (20, 10), 0.109, 1.242),
        ("profile", 30, (10,), 0.307, 1.262),
        ("profile", 40, (10,), 0.377, 1.631),
    ],
)


@REAL_LOSSES
def test_real_probes_taken_out_are_bridged_nearer_than_by_a_mean_difference(
    soil: str, lost_cm: int, others_cm: tuple[int, ...], bridged_c: float, mean_difference_c: float
) -> None:
    bridged, by_mean = [], []
    for truth_c, without_c, others_c, found in bridged_losses(soil, lost_cm, others_cm):
        found_c = found.temp_c
        month = slice(BEFORE - 30, BEFORE)
        mean_c = others_c.mean(axis=0)
        shifted_c = mean_c + np.nanmean((without_c - mean_c)[month])
        both = ~np.isnan(found_c)
        bridged.append((found_c - truth_c)[BEFORE:])
        by_mean.append(np.where(both, shifted_c - truth_c, np.nan)[BEFORE:])
    assert (rms(bridged), rms(by_mean)) == pytest.approx(
        (bridged_c, mean_difference_c), rel=0, abs=0.002
    )  # degC


@pytest.mark.parametrize("soil", ["twitchell", "profile"])
@pytest.mark.parametrize(("first_d", "last_d"), [(1, 3), (4, 10), (11, 21)])
def test_the_stated_error_is_that_of_real_probes_early_and_late(
    soil: str, first_d: int, last_d: int
) -> None:
    pairs = {
        "twitchell": [(16, (8, 32)), (32, (16,)), (32, (8,))],
        "profile": [(30, (10,)), (40, (20,))],
    }
    part = slice(BEFORE + first_d - 1, BEFORE + last_d)
    ratios = []
    for lost_cm, others_cm in pairs[soil]:
        for truth_c, _, _, found in bridged_losses(soil, lost_cm, others_cm):
            ratios.append(((found.temp_c - truth_c) / found.error_c)[part])
    assert 0.7 < rms(ratios) < 1.25  # 1: as large as stated


def soil_of_two_waves() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return a lower and an upper depth, each wave damped and later by its own measure."""
    time_d = np.arange(120.0)
    waves = [(9.0, 365.0, 0.90, 6.0), (2.0, 20.0, 0.65, 1.4)]
    upper_c = sum(a * np.cos(2 * np.pi * time_d / period_d) for a, period_d, _, _ in waves)
    lower_c = sum(
        a * damped * np.cos(2 * np.pi * (time_d - lag_d) / period_d)
        for a, period_d, damped, lag_d in waves
    )
    return np.asarray(lower_c) + 12, np.asarray(upper_c) + 12


def test_two_waves_are_bridged_with_their_own_amplitude_and_phase() -> None:
    lower_c, upper_c = soil_of_two_waves()
    without_c = lower_c.copy()
    without_c[99:] = np.nan
    found_c = bridge(without_c, upper_c[np.newaxis]).temp_c
    assert found_c[99:] == pytest.approx(lower_c[99:], abs=0.15)  # degC, of waves of 9 and 2 degC


def test_a_loss_is_bridged_for_21_days_and_no_longer() -> None:
    lower_c, upper_c = soil_of_two_waves()
    lower_c[90:] = np.nan
    there = ~np.isnan(bridge(lower_c, upper_c[np.newaxis]).temp_c)
    assert np.flatnonzero(there).tolist() == list(range(90, 111))


@pytest.mark.parametrize(("common", "is_bridged"), [(44, False), (45, True)])
def test_a_relation_needs_45_days_in_common(common: int, is_bridged: bool) -> None:
    lower_c, upper_c = soil_of_two_waves()
    lower_c[: -common - 1] = np.nan
    lower_c[-1] = np.nan
    assert np.isnan(bridge(lower_c, upper_c[np.newaxis]).temp_c[-1]) != is_bridged


def test_a_probe_that_never_reported_is_not_bridged() -> None:
    _, upper_c = soil_of_two_waves()
    found = bridge(np.full(upper_c.size, np.nan), upper_c[np.newaxis])
    assert np.isnan(found.temp_c).all()


def test_without_other_depths_nothing_is_bridged() -> None:
    lower_c, _ = soil_of_two_waves()
    lower_c[100] = np.nan
    assert np.isnan(bridge(lower_c, np.empty((0, lower_c.size))).temp_c).all()


def test_when_the_nearest_depth_is_lost_as_well_the_next_ones_serve() -> None:
    _, by_depth = soil_days("profile")
    part = slice(30, 120)
    lost_c, near_c, far_c = (by_depth[z][part].copy() for z in (30, 20, 10))
    truth_c = lost_c[80:].copy()
    lost_c[80:] = np.nan
    near_c[85:] = np.nan
    found = bridge(lost_c, np.array([near_c, far_c]))
    assert np.abs(found.temp_c[80:] - truth_c).max() < 0.7  # degC
    assert found.error_c[85] > 2 * found.error_c[84]


gaps = st.sets(st.integers(0, 149), max_size=60)


def with_gaps(soil_c: NDArray[np.float64], missing: set[int]) -> NDArray[np.float64]:
    holed_c = soil_c.copy()
    holed_c[sorted(missing)] = np.nan
    return holed_c


def real_days(depth_cm: int) -> NDArray[np.float64]:
    return soil_days("profile")[1][depth_cm][40:190]


@given(gaps, gaps, gaps)
@law(40)
def test_plain_loops_bridge_the_same_days_alike(
    lost: set[int], near: set[int], far: set[int]
) -> None:
    series = [with_gaps(real_days(z), at) for z, at in ((40, lost), (30, near), (10, far))]
    found = bridge(series[0], np.array(series[1:]))
    plain = plain_bridge(*(as_lists(series)))
    expected = np.array([one or (np.nan, np.nan) for one in plain]).T
    assert np.array([found.temp_c, found.error_c]) == pytest.approx(
        expected, rel=1e-6, abs=1e-6, nan_ok=True
    )


def as_lists(series: Sequence[NDArray[np.float64]]) -> tuple[list, list[list]]:
    lists = [[None if np.isnan(one) else float(one) for one in values] for values in series]
    return lists[0], lists[1:]


@given(gaps, gaps, st.integers(60, 150))
@law(40)
def test_what_comes_later_changes_no_day(lost: set[int], near: set[int], day: int) -> None:
    lower_c, upper_c = with_gaps(real_days(40), lost), with_gaps(real_days(20), near)
    whole = bridge(lower_c, upper_c[np.newaxis])
    so_far = bridge(lower_c[:day], upper_c[np.newaxis, :day])
    assert whole.temp_c[:day] == pytest.approx(so_far.temp_c, abs=1e-9, nan_ok=True)

"""The root-zone days of a block: averaged, bridged, with their errors; real probes taken out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from math import nan

import numpy as np
import pytest
from numpy.typing import NDArray

from alerts.block_days import ProbeDays, find_block_days
from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import evaluate
from probes.frames import RootZoneDays
from probes.soil.carry import TYPICAL_GROUND, Ground
from tests.soil_days import soil_days

DAY_1 = np.datetime64("2025-03-01")
ACCURACY_C = 0.2


def probe_days(rows: Sequence[tuple[float, NDArray[np.float64] | Sequence[float]]]) -> ProbeDays:
    """Return probes that stay at their depth."""
    mean_c = np.array([mean_c for _, mean_c in rows], np.float64)
    depth_cm = np.repeat([[depth_cm] for depth_cm, _ in rows], mean_c.shape[1], axis=1)
    return ProbeDays(mean_c, np.full(mean_c.shape, ACCURACY_C), depth_cm.astype(np.float64))


def no_probes(days: int) -> ProbeDays:
    return ProbeDays(*np.empty((3, 0, days)))


def block_days(own: ProbeDays, beside: ProbeDays | None = None) -> RootZoneDays:
    days = DAY_1 + np.arange(own.mean_c.shape[1])
    return find_block_days(days, own, beside or no_probes(days.size), (15.0, 45.0), "even")


def test_probes_at_one_depth_are_averaged_first() -> None:
    found = block_days(probe_days([(15, [10, 10]), (15, [12, nan]), (45, [20, 20])]))
    # by hand: day 1: (11 + 20) / 2; day 2: the one probe left at 15 cm serves: (10 + 20) / 2
    assert found.root_zone_c == pytest.approx([15.5, 15.0])


def test_a_day_on_which_a_depth_is_missing_has_no_value() -> None:
    found = block_days(probe_days([(15, [10, nan]), (45, [20, 20])]))
    assert np.isnan(found.root_zone_c).tolist() == [False, True]
    assert np.isnan(found.error_c).tolist() == [False, True]


def test_without_a_basis_no_day_has_a_value() -> None:
    found = block_days(probe_days([(80, [10, 11])]))
    assert np.isnan(found.root_zone_c).tolist() == [True, True]
    assert found.bases == ((0, ()),)


def test_a_block_without_probes_has_no_basis() -> None:
    found = block_days(no_probes(2))
    assert (found.bases, np.isnan(found.root_zone_c).tolist()) == (((0, ()),), [True, True])


def test_a_probe_that_moves_changes_the_basis_with_that_day() -> None:
    depth_cm = np.array([[30.0, 30.0, 20.0, 90.0]])
    own = ProbeDays(np.array([[10.0, 11, 12, 13]]), np.full((1, 4), 0.2), depth_cm)
    found = block_days(own)
    assert found.bases == ((0, (30.0,)), (2, (20.0,)), (3, ()))
    assert found.root_zone_c == pytest.approx([10, 11, 12, nan], nan_ok=True)


def test_the_days_from_a_position_on_keep_the_basis_that_holds_there() -> None:
    depth_cm = np.array([[30.0, 30.0, 20.0, 90.0]])
    own = ProbeDays(np.array([[10.0, 11, 12, 13]]), np.full((1, 4), 0.2), depth_cm)
    found = block_days(own).since(1)
    assert (found.bases, found.day[0]) == (((0, (30.0,)), (1, (20.0,)), (2, ())), DAY_1 + 1)


# The profile of [UTAH-PROFILE] with its probe at 40 cm lost for the last ten of a hundred days.


def lost_at_40_cm(others_cm: Sequence[int], beside_cm: Sequence[int] = ()) -> RootZoneDays:
    _, by_depth = soil_days("profile")
    lost_c = by_depth[40][:100].copy()
    lost_c[90:] = np.nan
    own = [(float(z), by_depth[z][:100]) for z in others_cm]
    beside = probe_days([(float(z), by_depth[z][:100]) for z in beside_cm]) if beside_cm else None
    return block_days(probe_days([*own, (40.0, lost_c)]), beside)


def test_a_day_with_a_bridged_depth_is_estimated_and_the_others_are_not() -> None:
    found = lost_at_40_cm([20])
    assert found.estimated.tolist() == [False] * 90 + [True] * 10


def test_the_error_of_bridging_adds_to_that_of_the_sensors() -> None:
    error_c = lost_at_40_cm([20]).error_c
    assert error_c[80:90] == pytest.approx([ACCURACY_C] * 10)
    assert ACCURACY_C < error_c[90] < error_c[99] < 0.5


def test_a_probe_beside_the_block_bridges_where_it_has_no_other_depth() -> None:
    found = lost_at_40_cm([], beside_cm=[30, 20])
    assert found.estimated.tolist() == [False] * 90 + [True] * 10
    assert found.basis_cm == (40.0,)


def test_the_block_s_own_depths_are_preferred_to_those_beside() -> None:
    with_both, alone = lost_at_40_cm([30, 20], beside_cm=[50]), lost_at_40_cm([30, 20])
    assert with_both.root_zone_c == pytest.approx(alone.root_zone_c, nan_ok=True)


def test_what_would_be_wrong_by_more_than_half_a_degree_has_no_value() -> None:
    rng = np.random.default_rng(20260506)
    found = lost_at_40_cm([])
    unlike = probe_days([(40.0, 15 + 3 * rng.standard_normal(100))])
    lost_c = soil_days("profile")[1][40][:100].copy()
    lost_c[90:] = np.nan
    assert np.isnan(block_days(probe_days([(40.0, lost_c)]), unlike).root_zone_c[90:]).all()
    assert np.isnan(found.root_zone_c[90:]).all()


# A single probe above the root zone, carried down: [UTAH-PROFILE], less than a year of it.


def zone_from(depths_cm: Sequence[int], ground: Ground | None) -> RootZoneDays:
    days, by_depth = soil_days("profile")
    own = probe_days([(float(z), by_depth[z]) for z in depths_cm])
    return find_block_days(days, own, no_probes(days.size), (15.0, 45.0), "even", ground)


def test_a_carried_root_zone_is_five_times_nearer_than_the_probe_above_it() -> None:
    truth_c = zone_from([10, 20, 30, 40, 50], None).root_zone_c
    carried, as_it_is = zone_from([10], TYPICAL_GROUND), zone_from([10], None)
    errors_c = [one.root_zone_c[60:] - truth_c[60:] for one in (carried, as_it_is)]
    found_c = [float(np.sqrt(np.nanmean(error_c**2))) for error_c in errors_c]
    assert found_c == pytest.approx([0.22, 1.23], abs=0.01)  # degC, as found


def test_a_carried_root_zone_says_so_and_names_the_probe_it_rests_on() -> None:
    found = zone_from([10], TYPICAL_GROUND)
    assert (found.basis_cm, found.is_carried) == ((10.0,), True)
    assert found.estimated[-30:].all()


def test_a_carried_root_zone_has_no_value_before_its_error_is_under_one_degree() -> None:
    found = zone_from([10], TYPICAL_GROUND)
    first = int(np.argmax(~np.isnan(found.root_zone_c)))
    assert 5 < first < 30  # d
    assert np.nanmax(found.error_c) < 1.05  # degC, 1 of carrying and 0.2 of the sensor


def test_a_probe_too_far_above_the_root_zone_serves_it_only_when_carried() -> None:
    assert zone_from([5], None).basis_cm == ()
    assert zone_from([5], TYPICAL_GROUND).basis_cm == (5.0,)


def test_where_a_probe_lies_at_the_bottom_of_the_root_zone_nothing_is_carried() -> None:
    found = zone_from([10, 50], TYPICAL_GROUND)
    assert not found.estimated.any()
    assert not found.is_carried


def test_between_two_probes_the_soil_is_a_line_and_below_the_lower_one_it_is_carried() -> None:
    both, lower = zone_from([20, 30], TYPICAL_GROUND), zone_from([30], TYPICAL_GROUND)
    assert both.basis_cm == (20.0, 30.0)
    assert np.nanmean(both.error_c[-90:]) < np.nanmean(lower.error_c[-90:]) + 0.01


@pytest.mark.parametrize(
    ("season", "measured_d", "carried_d"), [(2015, -6, 0), (2017, -2, 0), (2018, -2, 1)]
)
def test_an_opening_from_8_cm_is_days_early_and_carried_it_is_not(
    season: int, measured_d: int, carried_d: int
) -> None:
    days, by_depth = soil_days("twitchell")
    found = []
    for depths_cm, ground in (((8, 16, 32), None), ((8,), None), ((8,), TYPICAL_GROUND)):
        own = probe_days([(float(z), by_depth[z]) for z in depths_cm])
        zone_cm = (12.0, 40.0)
        zone = find_block_days(days, own, no_probes(days.size), zone_cm, "even", ground)
        found.append(np.datetime64(opening(zone, season)))
    shifts = [int((one - found[0]).astype(int)) for one in found[1:]]
    assert shifts == [measured_d, carried_d]  # d


# Openings with one probe lost for 21 days from each of the 20 days before the opening, or on it.


def opening(found: RootZoneDays, season: int) -> date | None:
    (one,) = evaluate(
        found.root_zone_c[np.newaxis],
        found.day,
        np.array([False]),
        GRAPE_PHYLLOXERA,
        found.day[-1].item(),
    )
    spans = [span for span in one.spans if (span.season, span.kind) == (season, "spring")]
    return spans[0].opened_on if spans else None


def opening_shifts(
    soil: str, block_cm: Sequence[int], lost_cm: int, season: int
) -> list[list[int]]:
    """Return by how many days the opening moves, bridged and by a mean difference."""
    every_day, by_depth = soil_days(soil)
    end = int(np.searchsorted(every_day, np.datetime64(f"{season}-08-01")))
    days, mean_c = every_day[:end], np.array([by_depth[z][:end] for z in block_cm])
    row = list(block_cm).index(lost_cm)

    def opened(of_days: NDArray[np.float64], first: int) -> date | None:
        own = probe_days(list(zip(map(float, block_cm), of_days[:, first:], strict=True)))
        beside = no_probes(end - first)
        found = find_block_days(days[first:], own, beside, (15.0, 45.0), "even")
        return opening(found, season)

    on = int(np.searchsorted(days, np.datetime64(opened(mean_c, 0))))
    others = [place for place in range(len(block_cm)) if place != row]
    shifts: list[list[int]] = [[], []]
    for begin in range(on - 20, on + 1):
        lost_c, by_mean_c = mean_c.copy(), mean_c.copy()
        lost_c[row, begin : begin + 21] = np.nan
        over_c = mean_c[row] - mean_c[others].mean(axis=0)
        by_mean_c[row, begin : begin + 21] = (
            mean_c[row] - over_c + np.nanmean(over_c[begin - 30 : begin])
        )[begin : begin + 21]
        for place, changed_c in enumerate((lost_c, by_mean_c)):
            moved = opened(changed_c, max(0, on - 150))
            shifts[place].append((moved - days[on].item()).days if moved else 99)
    return shifts


@pytest.mark.parametrize(
    ("soil", "block_cm", "lost_cm", "season", "most_d", "by_mean_d"),
    [  # as found: how far the opening moves at most, bridged and by a mean difference
        ("twitchell", [8, 16, 32], 32, 2015, 1, 5),
        ("twitchell", [8, 16, 32], 32, 2017, 1, 1),
        ("twitchell", [8, 16, 32], 32, 2018, 1, 3),
        ("twitchell", [8, 32], 32, 2015, 1, 6),
        ("twitchell", [8, 32], 32, 2017, 0, 2),
        ("twitchell", [8, 32], 32, 2018, 0, 12),
        ("twitchell", [16, 32], 16, 2017, 1, 2),
        ("profile", [10, 30], 30, 2025, 0, 1),
        ("profile", [10, 40], 40, 2025, 0, 1),
        ("generated", [10, 30], 30, 1994, 1, 4),
    ],
)
def test_an_opening_moves_by_a_day_at_most_when_a_real_probe_is_lost_before_it(
    soil: str, block_cm: list[int], lost_cm: int, season: int, most_d: int, by_mean_d: int
) -> None:
    bridged, by_mean = opening_shifts(soil, block_cm, lost_cm, season)
    found = max(map(abs, bridged)), max(map(abs, by_mean))
    assert found == (most_d, by_mean_d)  # d

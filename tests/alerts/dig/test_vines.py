"""Which vines are dug at a patch, in which order."""

from __future__ import annotations

import numpy as np
import pytest

from alerts.dig.patches import Survey, survey_block
from alerts.dig.vigour import Vigour
from alerts.dig.vines import DigVine, choose_vines
from tests.vigour_blocks import PLANTING


@pytest.fixture(scope="module")
def survey() -> Survey:
    """Rows 11 to 14, vines 9 to 26 are weak; vine 8 of row 12 is missing."""
    value = 1 + 0.02 * np.random.default_rng(3).normal(size=(30, 50))
    value[10:14, 8:26] *= 0.6
    value[11, 7] = np.nan
    return survey_block(Vigour(value, PLANTING, 1, 1))


@pytest.fixture(scope="module")
def chosen(survey: Survey) -> list[DigVine]:
    return choose_vines(survey, survey.patches[0], 12)


def test_strong_vines_at_the_border_come_before_weak_ones_inside(chosen: list[DigVine]) -> None:
    assert [one.place == "inside" for one in chosen] == [False] * 8 + [True] * 4
    assert all(one.contrast >= 0 for one in chosen[:8])
    assert all(one.contrast < -0.3 for one in chosen[8:])


def test_all_four_sides_are_dug_in_turn(chosen: list[DigVine]) -> None:
    right, below, left, above = (one.vine for one in chosen[:4])
    assert 27 <= right[1] <= 29
    assert 11 <= right[0] <= 14
    assert 15 <= below[0] <= 17
    assert left[1] <= 8
    assert above[0] <= 10
    assert [one.place for one in chosen[:4]] == ["along", "across", "along", "across"]


def test_the_nearest_come_first_and_a_missing_vine_never(chosen: list[DigVine]) -> None:
    assert [one.steps for one in chosen[:4]] == [1, 1, 1, 1]
    assert (12, 8) not in {one.vine for one in chosen}


def test_no_vine_is_dug_twice(survey: Survey) -> None:
    many = [one.vine for one in choose_vines(survey, survey.patches[0], 100)]
    assert len(many) == 100
    assert len(set(many)) == len(many)


def test_a_patch_that_fills_its_block_is_dug_inside_alone() -> None:
    value = 1 + 0.02 * np.random.default_rng(3).normal(size=(30, 50))
    value[10:14, 8:26] *= 0.6
    whole = survey_block(Vigour(value, PLANTING, 1, 1))
    whole.contrast[~whole.patches[0].cells] = np.nan
    assert {one.place for one in choose_vines(whole, whole.patches[0], 6)} == {"inside"}

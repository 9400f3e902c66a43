"""Weak patches found in invented blocks, and how they are described."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from alerts.dig.contrast import find_contrast
from alerts.dig.patches import Patch, survey_block
from alerts.dig.vigour import Planting, Vigour, VigourError, grid_metres, grid_vines
from tests.vigour_blocks import PLANTING, plant_vigour, threshold_plainly


@dataclass
class Tally:
    """Vines that were found and planted, found only, planted only."""

    both: int = 0
    found_only: int = 0
    planted_only: int = 0

    def add(self, found: NDArray[np.bool_], planted: NDArray[np.bool_]) -> None:
        self.both += int((found & planted).sum())
        self.found_only += int((found & ~planted).sum())
        self.planted_only += int((planted & ~found).sum())

    @property
    def precision(self) -> float:
        return self.both / (self.both + self.found_only)

    @property
    def recall(self) -> float:
        return self.both / (self.both + self.planted_only)


def find_cells(vigour: Vigour) -> NDArray[np.bool_]:
    found = np.zeros(vigour.value.shape, bool)
    for patch in survey_block(vigour).patches:
        found |= patch.cells
    return found & np.isfinite(vigour.value)


def tally(seeds: Iterable[int], **block: object) -> tuple[Tally, Tally]:
    """Return how the survey did over some seeds, and plain thresholding in the same run."""
    ours, plain = Tally(), Tally()
    for seed in seeds:
        vigour, planted = plant_vigour(seed, **block)  # type: ignore[arg-type]
        ours.add(find_cells(vigour), planted)
        plain.add(threshold_plainly(vigour), planted)
    return ours, plain


@pytest.mark.long
def test_over_200_seeds_patches_are_found_and_little_else() -> None:
    ours, plain = tally(range(200))
    assert ours.precision >= 0.8
    assert ours.recall >= 0.8
    assert plain.precision < 0.2


@pytest.mark.long
def test_over_200_seeds_a_block_without_a_patch_has_none() -> None:
    with_any = sum(find_cells(plant_vigour(s, patches=0)[0]).any() for s in range(1000, 1200))
    assert with_any <= 10


def test_over_a_few_seeds_patches_are_found_and_little_else() -> None:
    ours, plain = tally(range(6), shape=(30, 40))
    assert ours.precision >= 0.8
    assert ours.recall >= 0.8
    assert plain.precision < 0.4


def test_a_block_without_a_patch_has_none() -> None:
    assert not any(find_cells(plant_vigour(s, patches=0, shape=(30, 40))[0]).any() for s in (1, 2))


def rectangle(rows: slice, vines: slice, loss: float = 0.4) -> Vigour:
    """A block of 30 by 50 with one patch, and hardly any noise."""
    value = 1 + 0.02 * np.random.default_rng(3).normal(size=(30, 50))
    value[rows, vines] *= 1 - loss
    return Vigour(value, PLANTING, 11, 101)


@pytest.fixture(scope="module")
def patch() -> Patch:
    (found,) = survey_block(rectangle(slice(10, 14), slice(8, 26))).patches
    return found


def test_a_patch_is_described_in_metres_along_the_rows(patch: Patch) -> None:
    # by hand: 4 rows of 3 m by 18 vines of 1.8 m; axes 4 sqrt((n^2 - 1) / 12) steps
    assert patch.length_m == pytest.approx(4 * np.sqrt((18**2 - 1) / 12) * 1.8, rel=1e-6)
    assert patch.width_m == pytest.approx(4 * np.sqrt((4**2 - 1) / 12) * 3.0, rel=1e-6)
    assert patch.angle_deg == pytest.approx(0.0, abs=1e-6)
    assert patch.along_rows == pytest.approx(1 - patch.width_m / patch.length_m)
    assert patch.loss == pytest.approx(0.4, abs=0.02)


def test_its_vines_have_the_numbers_of_the_block(patch: Patch) -> None:
    rows, vines = (sorted({one[i] for one in patch.vines}) for i in (0, 1))
    assert (rows[0], rows[-1], vines[0], vines[-1]) == (21, 24, 109, 126)
    assert len(patch.vines) == 4 * 18


def test_a_patch_across_the_rows_is_not_lengthened_along_them() -> None:
    (found,) = survey_block(rectangle(slice(5, 25), slice(8, 13))).patches
    assert found.angle_deg == pytest.approx(90.0, abs=1.0)
    assert found.along_rows < 0.01


def test_a_patch_of_a_single_row_is_as_wide_as_a_row() -> None:
    value = 1 + 0.05 * np.random.default_rng(1).normal(size=(1, 80))
    value[0, 30:45] *= 0.6
    (found,) = survey_block(Vigour(value, PLANTING, 1, 1)).patches
    assert (len(found.vines), found.width_m) == (15, 3.0)


def test_growth_is_against_the_earlier_patches_it_covers() -> None:
    vigour = rectangle(slice(10, 14), slice(8, 26))
    before = frozenset((row, vine) for row in range(21, 25) for vine in range(109, 118))
    (grown,) = survey_block(vigour, [before]).patches
    (new,) = survey_block(vigour, []).patches
    (first,) = survey_block(vigour).patches
    # by hand: 36 vines before, 72 now
    assert (grown.grown_by, new.grown_by, first.grown_by) == (pytest.approx(1.0), 1.0, None)
    assert first.score < new.score == pytest.approx(grown.score)


def test_a_single_dead_vine_and_a_missing_one_are_no_patch() -> None:
    value = 1 + 0.05 * np.random.default_rng(5).normal(size=(20, 30))
    value[10, 10], value[3, 3] = 0.01, np.nan
    assert survey_block(Vigour(value, PLANTING, 1, 1)).patches == []


def test_a_block_of_one_value_has_no_patch() -> None:
    assert survey_block(Vigour(np.ones((10, 10)), PLANTING, 1, 1)).patches == []


def test_what_changes_from_end_to_end_is_no_contrast() -> None:
    value = np.linspace(1.0, 2.0, 60) * np.ones((40, 1))
    contrast = find_contrast(Vigour(value, PLANTING, 1, 1))
    assert np.abs(contrast).max() < 1e-3


def test_the_same_metres_at_other_spacings_give_the_same_shape() -> None:
    # a disc of 14 m across, on vines 1.2 m apart in rows 2.4 m apart
    step = Planting(2.4, 1.2)
    across, along = np.indices((40, 80)) * np.array([2.4, 1.2]).reshape(2, 1, 1)
    value = 1 + 0.02 * np.random.default_rng(6).normal(size=across.shape)
    value[(across - 48) ** 2 + (along - 48) ** 2 <= 49] *= 0.6
    (found,) = survey_block(Vigour(value, step, 1, 1)).patches
    assert found.length_m == pytest.approx(14.0, abs=1.5)
    assert found.width_m == pytest.approx(14.0, abs=1.5)


def test_points_in_metres_are_the_vines_they_stand_at() -> None:
    rows, vines = (one.ravel() for one in np.mgrid[1:6, 1:8])
    values = np.arange(rows.size, dtype=float)
    by_vine = grid_vines(rows, vines, values, PLANTING)
    by_metres = grid_metres((vines - 1) * 1.8 + 0.3, (rows - 1) * 3.0, values, PLANTING)
    assert (by_metres.value == by_vine.value).all()
    assert by_metres.name_vine((4, 6)) == by_vine.name_vine((4, 6)) == (5, 7)


def test_coarse_points_make_cells_of_several_vines() -> None:
    along, across = (one.ravel() for one in np.meshgrid(np.arange(0, 50, 5.0), [0, 5, 10.0]))
    coarse = grid_metres(along, across, np.ones(along.size), PLANTING)
    # by hand: 5 m are 1.7 rows of 3 m and 2.8 vines of 1.8 m
    assert (coarse.rows_each, coarse.vines_each) == (2, 3)
    assert coarse.step_m == pytest.approx((6.0, 5.4))


def test_a_wrong_number_that_makes_a_block_endless_is_refused() -> None:
    with pytest.raises(VigourError, match="look for a wrong number"):
        grid_vines(np.array([1, 90_000]), np.array([1, 500]), np.ones(2), PLANTING)


def test_a_measure_below_zero_is_refused() -> None:
    with pytest.raises(VigourError, match="of which more is stronger"):
        find_contrast(Vigour(-np.ones((4, 4)), PLANTING, 1, 1))

"""Members: the same again for the same block and day, and spread as they should be."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from alerts.outlook.members import draw_members, member_rng

COV_C2 = np.array([[2.0, 1.0], [1.0, 1.0]])
ISSUED_ON = date(2026, 4, 20)


def draw(block_id: str, issued_on: date = ISSUED_ON, count: int = 500) -> np.ndarray:
    return draw_members(np.array([10.0, 11.0]), COV_C2, count, member_rng(block_id, issued_on))


def test_a_block_has_the_same_members_when_its_outlook_is_made_again() -> None:
    assert np.array_equal(draw("terrace-7"), draw("terrace-7"))


@pytest.mark.parametrize(
    ("block_id", "issued_on"), [("terrace-9", ISSUED_ON), ("terrace-7", date(2026, 4, 21))]
)
def test_another_block_or_day_has_other_members(block_id: str, issued_on: date) -> None:
    assert not np.isclose(draw("terrace-7"), draw(block_id, issued_on)).any()


def test_members_lie_evenly_about_their_mean() -> None:
    assert draw("terrace-7").mean(axis=0) == pytest.approx([10.0, 11.0], abs=1e-9)


def test_members_spread_as_the_covariance_has_it() -> None:
    assert np.cov(draw("terrace-7", count=20_000).T) == pytest.approx(COV_C2, abs=0.05)  # degC2

"""A benchmark that misses a bar fails."""

from __future__ import annotations

import math

import pytest

from tests.benchmarks.bars import Bar, judge


def test_bars_that_are_met_are_shown(capsys: pytest.CaptureFixture[str]) -> None:
    judge([Bar("failed", 0, "<= 0"), Bar("peak, MB", 848.25, "< 1000"), Bar("a second", 5, ">= 5")])
    assert capsys.readouterr().out.splitlines()[-3:] == [
        "| failed | 0 | <= 0 |",
        "| peak, MB | 848.25 | < 1000 |",
        "| a second | 5 | >= 5 |",
    ]


@pytest.mark.parametrize(
    ("at", "must_be"), [(1, "<= 0"), (1000, "< 1000"), (4.9, ">= 5"), (math.nan, "<= 1000")]
)
def test_a_bar_that_is_missed_ends_the_benchmark(at: float, must_be: str) -> None:
    with pytest.raises(SystemExit, match="missed: a push"):
        judge([Bar("a page", 1, "<= 2"), Bar("a push", at, must_be)])

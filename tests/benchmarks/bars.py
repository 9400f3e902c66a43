"""The bars that a benchmark must meet: a table of them, and an end with 1 where one is missed."""

from __future__ import annotations

import operator
from collections.abc import Sequence
from typing import NamedTuple

MEETS = {"<": operator.lt, "<=": operator.le, ">=": operator.ge}


class Bar(NamedTuple):
    """What was measured, its figure, and what that must be, as in "<= 1.8". NaN meets nothing."""

    what: str
    at: float
    must_be: str

    @property
    def is_met(self) -> bool:
        """Whether the figure is as it must be."""
        sign, bound = self.must_be.split()
        return MEETS[sign](self.at, float(bound))


def judge(bars: Sequence[Bar]) -> None:
    """Print all bars; SystemExit, with what was missed."""
    print("\n| bar | at | must be |\n|---|---|---|")
    for one in bars:
        print(f"| {one.what} | {round(one.at, 2):g} | {one.must_be} |")
    missed = [one.what for one in bars if not one.is_met]
    if missed:
        raise SystemExit(f"\nmissed: {'; '.join(missed)}")

"""Soils in words and the spans worked out for them by hand: what the window tests share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pytest

from alerts.rules import GRAPE_PHYLLOXERA, WindowRule
from alerts.windows import Kind, Reason, Span, find_spans
from probes.units import f_to_c
from tests.plain_rule import plain_spans

FIVE_OF_FIVE = replace(GRAPE_PHYLLOXERA, mean_needs=5)
Evaluate = Callable[[Sequence[float | None], date, bool, WindowRule, date], list[Span]]


def engine_spans(
    root_zone_c: Sequence[float | None],
    first_day: date,
    south: bool,
    rule: WindowRule,
    as_of: date,
) -> list[Span]:
    """Return what the engine says of one series, called as the plain rule is."""
    matrix = np.array([root_zone_c], dtype=np.float64).reshape(1, -1)
    days = np.datetime64(first_day, "D") + np.arange(matrix.shape[1])
    return find_spans(matrix, days, np.array([south]), rule, as_of)[0]


both_readings = pytest.mark.parametrize(
    "evaluate", [engine_spans, plain_spans], ids=["engine", "plain rule"]
)


def on(text: str) -> date:
    """Return a date: on("2015-04-05")."""
    return date.fromisoformat(text)


def soil(steps: dict[str, float | None], until: str) -> tuple[date, list[float | None]]:
    """Return a first day and daily root-zone values: each °F holds from its date to the next one.

    None is a gap. A step changes R over five days, a fifth of the way on each.
    """
    starts = [on(text) for text in steps]
    ends = [*starts[1:], on(until) + timedelta(days=1)]
    values_c = [
        value if value is None else f_to_c(value)
        for value, start, end in zip(steps.values(), starts, ends, strict=True)
        for _ in range((end - start).days)
    ]
    return starts[0], values_c


def span(
    kind: Kind,
    opened_on: str,
    closed_on: str | None = None,
    reason: Reason | None = None,
    *,
    not_before: str | None = None,
    closed_not_before: str | None = None,
    season: int = 2015,
) -> Span:
    """Return a span; without a `not_before` nothing is missing before it opened, or closed."""
    last_open = closed_not_before or closed_on
    return Span(
        season,
        kind,
        on(opened_on),
        on(not_before or opened_on),
        on(closed_on) if closed_on else None,
        reason,
        on(last_open) if last_open else None,
    )


@dataclass(frozen=True)
class Case:
    """A sentence, the soil it speaks of, and the spans worked out by hand."""

    sentence: str
    steps: dict[str, float | None]
    until: str
    spans: list[Span]
    as_of: str | None = None  # the last day, unless said
    south: bool = False
    rule: WindowRule = GRAPE_PHYLLOXERA

    def found_by(self, evaluate: Evaluate) -> list[Span]:
        """Return the spans that an implementation of the rule finds in this soil."""
        first_day, values_c = soil(self.steps, self.until)
        return evaluate(values_c, first_day, self.south, self.rule, on(self.as_of or self.until))


def by_hand(*cases: Case) -> pytest.MarkDecorator:
    """Return the parametrisation of a test over cases, each under its sentence."""
    return pytest.mark.parametrize("case", cases, ids=lambda case: case.sentence)


WARM_SUMMER: dict[str, float | None] = {
    "2015-01-01": 50,
    "2015-04-01": 66,
    "2015-06-01": 75,  # by hand: highest R 75.0 from 5 June on, so fall starts at R <= 71.4
}
SPRING_SPENT = span("spring", "2015-04-05", "2015-05-17", "spent")

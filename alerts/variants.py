"""A rule set with other numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import ceil

from alerts.rules import WindowRule, find_faults


class ContradictionError(Exception):
    """The numbers asked for contradict each other."""


@dataclass(frozen=True)
class Numbers:
    """The numbers to try; an empty list leaves those of the rule set. [degC, days]"""

    spring_opens_c: Sequence[float] = ()
    margin_c: Sequence[float] = ()
    mean_days: Sequence[int] = ()


def vary(rule: WindowRule, numbers: Numbers) -> list[WindowRule]:
    """Return a rule set with each combination of the numbers.

    A mean of other days needs the same share of them, rounded up. ContradictionError where a
    combination contradicts itself.
    """
    share = rule.mean_needs / rule.mean_days
    rules = [
        replace(
            rule,
            spring_opens_c=opens_c,
            margin_c=margin_c,
            mean_days=days,
            mean_needs=ceil(share * days),
        )
        for opens_c, margin_c, days in product(
            numbers.spring_opens_c or [rule.spring_opens_c],
            numbers.margin_c or [rule.margin_c],
            numbers.mean_days or [rule.mean_days],
        )
    ]
    for one in rules:
        for fault in find_faults(one):
            raise ContradictionError(fault)
    return rules

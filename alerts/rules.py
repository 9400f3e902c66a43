"""The window rule: every number by which a scouting window opens and closes, with its origin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from probes.units import delta_f_to_c, f_to_c

Kind = Literal["spring", "fall"]
MonthDay = tuple[int, int]

NO_SOURCE = "common practice, no source"


@dataclass(frozen=True)
class Fact:
    """A temperature that stands in print or in use for one event, by its own name. [degC]"""

    name: str
    value_c: float
    origin: str


FEEDING_STARTS = Fact(
    "feeding and growth start above; below it in fall only small young are left",
    f_to_c(60.0),
    "[UC-PHYLLOXERA]",
)
SPRING_DIG = Fact("digging begins in spring", f_to_c(64.0), NO_SOURCE)
FEEDING_SITES = Fact("young settle at feeding sites", 18.0, "[TURLEY-1996], from memory; not used")
FACTS = (FEEDING_STARTS, SPRING_DIG, FEEDING_SITES)
"""Printed as "the spring temperature", each for an event of its own: never one for another."""


@dataclass(frozen=True)
class WindowRule:
    """One rule set. Temperatures [degC], dates as (month, day) north of the equator.

    South of the equator each date stands six months later and the season runs from 1 July.
    """

    name: str
    windows: tuple[Kind, ...]
    """Those that may open; the year takes its course all the same."""
    mean_days: int
    """Length of the trailing mean R. [days]"""
    mean_needs: int
    """Days with a value that R needs, its own day among them. [days]"""
    spring_opens_c: float
    spring_from: MonthDay
    unseen_until: MonthDay
    unseen_max_c: float
    hot_above_c: float
    cold_below_c: float
    spring_days: int
    """Spring is spent this many days after its first opening. [days]"""
    fall_from: MonthDay
    fall_drop_c: float
    margin_c: float
    tolerance_c: float
    """A limit is met within this much. [degC]"""
    degree_days: Literal["condition", "information"] | None = None
    """What the sum of the soil's degree-days is for: spring waits for it, or it is only told."""
    degree_days_lower_c: float | None = None
    degree_days_upper_c: float | None = None
    degree_days_since: MonthDay = (1, 1)
    degree_days_sum_c: float | None = None
    """What spring waits for. [degC d]"""


GRAPE_PHYLLOXERA = WindowRule(
    name="grape-phylloxera",
    windows=("spring", "fall"),
    mean_days=5,
    mean_needs=4,
    spring_opens_c=SPRING_DIG.value_c,
    spring_from=(2, 1),
    unseen_until=(6, 30),
    unseen_max_c=f_to_c(72.0),
    hot_above_c=f_to_c(86.0),
    cold_below_c=FEEDING_STARTS.value_c,
    spring_days=42,
    fall_from=(8, 15),
    fall_drop_c=delta_f_to_c(3.6),
    margin_c=delta_f_to_c(1.0),
    tolerance_c=delta_f_to_c(1e-6),
)

RULES = {GRAPE_PHYLLOXERA.name: GRAPE_PHYLLOXERA}
"""Those that are built in."""

ORIGINS: Mapping[str, str] = {
    "windows": NO_SOURCE,
    "mean_days": "ours: steadier than a day, two days late",
    "mean_needs": "ours",
    "spring_opens_c": SPRING_DIG.origin,
    "spring_from": "ours: warm spells in winter are not spring",
    "unseen_until": "ours",
    "unseen_max_c": "ours",
    "hot_above_c": "[FISHER-2003]",
    "cold_below_c": FEEDING_STARTS.origin,
    "spring_days": NO_SOURCE,
    "fall_from": NO_SOURCE,
    "fall_drop_c": NO_SOURCE,
    "margin_c": "ours: keeps a window from flapping",
    "degree_days": "unset: none known with a trustworthy source",
    "degree_days_lower_c": "unset",
    "degree_days_upper_c": "unset",
    "degree_days_since": "ours",
    "degree_days_sum_c": "unset",
}
"""Where the numbers of GRAPE_PHYLLOXERA come from; keys as in tests/SOURCES.md."""


def find_faults(rule: WindowRule) -> list[str]:
    """Return what of a rule contradicts itself, each in a line that says what to do."""
    opens, cold, hot = rule.spring_opens_c, rule.cold_below_c, rule.hot_above_c
    highest_again, lowest_again = hot - rule.margin_c, cold + rule.margin_c
    faults = [
        (
            rule.mean_needs > rule.mean_days,
            f"mean_needs = {rule.mean_needs} is more than mean_days = {rule.mean_days}, so that "
            "there is never a mean; write at most as many",
        ),
        (
            cold > opens,
            "cold_below lies above spring_opens, so that spring would close as it opens; lower "
            "cold_below or raise spring_opens",
        ),
        (
            opens > highest_again,
            "spring_opens lies above hot_above less margin, so that spring could not open again "
            "after heat; lower spring_opens or raise hot_above",
        ),
        (
            lowest_again > highest_again,
            "margin is too wide for cold_below and hot_above, so that fall could not open again; "
            "write a smaller margin",
        ),
        (
            rule.unseen_max_c < opens,
            "unseen_max lies below spring_opens, so that a spring whose start was not seen could "
            "not open; raise unseen_max",
        ),
        (
            rule.unseen_until < rule.spring_from,
            "unseen_until is before spring_from; write a later day",
        ),
        (
            rule.fall_from <= rule.spring_from,
            "fall_from is not after spring_from: fall would come before spring; write a later day "
            "for fall_from (days are those of the north, the south has them six months later)",
        ),
    ]
    if rule.degree_days:
        faults += _degree_day_faults(rule)
    return [text for is_wrong, text in faults if is_wrong]


def _degree_day_faults(rule: WindowRule) -> list[tuple[bool, str]]:
    lower_c, upper_c = rule.degree_days_lower_c, rule.degree_days_upper_c
    return [
        (
            lower_c is None or upper_c is None,
            "degree_days needs its thresholds; write degree_days_lower_f and degree_days_upper_f, "
            "or both in °C",
        ),
        (
            lower_c is not None and upper_c is not None and lower_c >= upper_c,
            "degree_days_lower is not below degree_days_upper, so that nothing is ever summed; "
            "write a lower one",
        ),
        (
            rule.degree_days == "condition" and rule.degree_days_sum_c is None,
            "degree_days is a condition without a sum to wait for; write degree_days_sum_f or "
            "degree_days_sum_c",
        ),
        (
            rule.degree_days_since >= rule.fall_from,
            "degree_days_since is not before fall_from, so that spring could not wait for the sum; "
            "write an earlier day",
        ),
    ]

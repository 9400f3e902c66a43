"""The state of a block today, in the words that people read."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Literal

from alerts.rules import WindowRule
from alerts.season import season_day
from alerts.windows import Evaluation

State = Literal[
    "no basis",
    "no recent readings",
    "open",
    "too hot",
    "paused by cold",
    "resting",
    "done for the season",
    "spring start not seen",
    "warming",
    "too cold",
]

RECENT_DAYS = 3
WARMING_CHANCE = 0.5


def find_state(
    evaluation: Evaluation,
    rule: WindowRule,
    south: bool,
    has_basis: bool,
    as_of: date,
    opens_soon: float | None = None,
    recent_days: int = RECENT_DAYS,
) -> State:
    """Return the first state that fits on the evening of `as_of`.

    `evaluation` is the block's own by `rule` as of that day, `opens_soon` the chance, by an outlook
    of that day, that its window opens within 14 days; None where there is no outlook. "Too hot" and
    "paused by cold" hold only while the window may still open again: once spring is spent a block
    is resting, and once fall has started the cold of spring is history.
    `recent_days` is how long the latest mean speaks for today: longer where a thermometer is read a
    few times a week.
    """
    standing = evaluation.standing
    mean_c, mean_on = standing.mean_c, standing.mean_on
    if not has_basis:
        return "no basis"
    if mean_c is None or mean_on is None or as_of - mean_on >= timedelta(days=recent_days):
        return "no recent readings"
    spans = [span for span in evaluation.spans if span.season == standing.season]
    last = spans[-1] if spans else None
    if last and last.closed_on is None:
        return "open"
    turned = standing.turned_on is not None
    spring = next((span for span in spans if span.kind == "spring"), None)
    spent = spring is not None and as_of >= spring.opened_on + timedelta(days=rule.spring_days)
    if "fall" not in rule.windows and (turned or spent):
        return "done for the season"
    if "spring" not in rule.windows and not turned:
        return "resting"
    if last and last.reason == "hot" and mean_c > rule.hot_above_c - rule.margin_c:
        return "too hot"
    if last and last.kind == "spring" and last.reason == "cold" and not spent and not turned:
        return "paused by cold"
    if spent and not turned:
        return "resting"
    if last and last.kind == "fall" and last.reason == "cold":
        return "done for the season"
    if spring is None and not turned and not standing.below_seen:
        late = as_of > season_day(rule.unseen_until, standing.season, south)
        if late or mean_c > rule.unseen_max_c + rule.tolerance_c:
            return "spring start not seen"
    if opens_soon is None:
        is_warming = mean_c >= rule.cold_below_c - rule.tolerance_c
    else:
        is_warming = opens_soon >= WARMING_CHANCE
    return "warming" if is_warming else "too cold"

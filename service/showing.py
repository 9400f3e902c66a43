"""Windows, their reasons and root-zone days as records: commands, the API and exports say alike."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from datetime import date, timedelta
from itertools import compress
from typing import Any

import numpy as np

from alerts.figures import show_depths, show_mean, show_sources
from alerts.notices import Neighbour, Source
from alerts.rules import WindowRule
from alerts.season import season_start
from alerts.season_days import SeasonDays, see_season
from alerts.why.facts import Why, find_decisive
from alerts.why.words import tell_why
from alerts.windows import Span, trailing_mean
from probes.frames import RootZoneDays
from probes.units import Unit
from service.evaluation import (
    BlockEvaluation,
    find_mean_error_c,
    find_neighbours,
    find_sources,
    is_by_hand,
)
from service.lending import describe_neighbour

Record = dict[str, str | int | float | None]


def count_text(count: int, noun: str) -> str:
    """Return "1 message" or "1,200 messages"."""
    return f"{count:,} {noun}{'s' * (count != 1)}"


def window_records(
    evaluations: Iterable[BlockEvaluation],
    unname: Callable[[Iterable[Source]], tuple[Source, ...]] = tuple,
) -> Iterator[Record]:
    """Yield a record per window, by block in the order given, then by time.

    unname : returns sources without the names that are not to be shown
    """
    for one in evaluations:
        for span, bounds in zip(one.evaluation.spans, one.bounds, strict=True):
            opened, closed = bounds.opened, bounds.closed
            yield {
                "block": one.block.id,
                "season": span.season,
                "kind": span.kind,
                "opened_on": _iso(span.opened_on),
                "not_before": _iso(span.not_before),
                "opened_earliest": _iso(opened.earliest),
                "opened_latest": _iso(opened.latest),
                "closed_on": _iso(span.closed_on),
                "closed_not_before": _iso(span.closed_not_before),
                "closed_earliest": _iso(closed and closed.earliest),
                "closed_latest": _iso(closed and closed.latest),
                "may_pause": int(bounds.may_pause),
                "reason": span.reason,
                "opened_estimated": int(rests_on_estimates(one, span.opened_on)),
                "closed_estimated": int(rests_on_estimates(one, closing_day(span))),
                "degree_days_c": one.evaluation.standing.degree_days_c,
                "basis": basis_text(one.root_zone),
                "source": show_sources(unname(find_sources(one, span.opened_on)), "en") or None,
                "borrowed": int(find_neighbours(one, span.opened_on) is not None),
                "by_hand": int(is_by_hand(one, span.opened_on)),
                "error_c": find_mean_error_c(one, span.opened_on),
                "as_of": one.as_of.isoformat(),
            }


def rests_on_estimates(one: BlockEvaluation, day: date | None) -> bool:
    """Return whether the mean of a day rests on days that were not measured in full."""
    return day is not None and one.root_zone.is_estimated(day, one.rule.mean_days)


def closing_day(span: Span) -> date | None:
    """Return the day that closed a window, where a temperature did."""
    return None if span.reason in ("spent", "season over") else span.closed_on


def _iso(day: date | None) -> str | None:
    return day and day.isoformat()


def root_zone_records(
    one: BlockEvaluation, unname: Callable[[Iterable[Neighbour]], tuple[Neighbour, ...]] = tuple
) -> Iterator[Record]:
    """Yield a record per day of a block's root zone; no temperature where the day has no value.

    unname : returns neighbours without the names that are not to be shown
    """
    zone = one.root_zone
    lenders = [lender.name for lender in unname(map(describe_neighbour, one.block.lenders))]
    starts = [start for start, _ in zone.bases]
    for index, day in enumerate(zone.day.tolist()):
        value_c = float(zone.root_zone_c[index])
        _, basis_cm = zone.bases[int(np.searchsorted(starts, index, side="right")) - 1]
        yield {
            "day": day.isoformat(),
            "root_zone_c": None if np.isnan(value_c) else value_c,
            "estimated": int(zone.estimated[index]),
            "depths_cm": " ".join(f"{depth_cm:g}" for depth_cm in basis_cm),
            "error_c": None if np.isnan(value_c) else float(zone.error_c[index]),
            "by_hand": int(zone.by_hand[index]),
            "borrowed_from": " + ".join(compress(lenders, zone.lent[:, index])) or None,
        }


def why_record(why: Why, one: BlockEvaluation, unit: Unit, language: str) -> dict[str, Any]:
    """Return the facts of an explanation, temperatures in degC, and its sentences."""
    decisive, between = find_decisive(why), why.between
    return {
        "block": one.block.id,
        "event": why.event,
        "day": why.day.isoformat(),
        "kind": why.kind,
        "season": why.spans[-1].season if why.event == "closed" else why.standing.season,
        "state": why.state,
        "reason": why.reason,
        "not_before": why.not_before.isoformat(),
        "earliest": between and between.earliest.isoformat(),
        "latest": between and _iso(between.latest),
        "basis_on": why.basis.day.isoformat(),
        "root_zone_c": why.basis.root_zone_c,
        "probes": [asdict(probe) for probe in why.basis.probes],
        "estimated_cm": list(why.basis.estimated_cm),
        "carried_from_cm": why.basis.carried_from_cm,
        "borrowed_from": [neighbour.name for neighbour in why.basis.lent_by],
        "means_c": {day.isoformat(): mean_c for day, mean_c in why.means},
        "cause": decisive.cause,
        "limit_c": decisive.limit_c,
        "short_by_c": decisive.short_by_c,
        "as_of": one.as_of.isoformat(),
        "steps": tell_why(why, language, unit),
    }


def basis_text(zone: RootZoneDays) -> str:
    """Return "at 10 cm", "estimated from 10 cm", "borrowed" or "no basis"."""
    if not zone.basis_cm:
        return "borrowed" if zone.borrowed.any() else "no basis"
    return f"{'estimated from' if zone.is_carried else 'at'} {show_depths(zone.basis_cm, 'en')}"


def find_season(one: BlockEvaluation, season: int | None = None) -> SeasonDays:
    """Return what each day of a season of a block was; of the one of its day unless one is given.

    Only that one has days ahead, with their chance of being open.
    """
    now, south, rule = one.evaluation.standing.season, one.block.south, one.rule
    season = now if season is None else season
    return see_season(
        one.evaluation.spans,
        one.root_zone.day,
        trailing_mean(one.root_zone.root_zone_c, rule),
        season,
        south,
        rule,
        one.as_of,
        one.outlook.open_chances if one.outlook and season == now else (),
    )


def find_seasons(one: BlockEvaluation) -> list[int]:
    """Return the seasons of a block with root-zone days, and the latest, which comes first."""
    now, south = one.evaluation.standing.season, one.block.south
    days = one.root_zone.day[~np.isnan(one.root_zone.root_zone_c)]
    first = days[0].item() if days.size else None
    found = [now]
    while first and season_start(found[-1], south) > first:
        found.append(found[-1] - 1)
    return found


def name_years(season: int, south: bool) -> str:
    """Return the year of a season, "2025/26" where it lies in two."""
    first = season_start(season, south).year
    last = (season_start(season + 1, south) - timedelta(days=1)).year
    return f"{first}" if first == last else f"{first}/{last % 100:02}"


def mean_text(rule: WindowRule) -> str:
    """Return "five-day mean", or "7-day mean" where a rule set says so."""
    return show_mean(rule.mean_days, "en")


def day_text(day: date) -> str:
    """Return "4 Oct 2025"."""
    return f"{day.day} {day:%b %Y}"

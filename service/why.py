"""From the store to what decided the dates of a block."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from itertools import compress
from math import isnan

import numpy as np
from sqlalchemy import Connection

from alerts.bounds import Bounds, DateRange
from alerts.rules import Kind
from alerts.season import season_of, season_start
from alerts.why.facts import SHOWN_MEANS, DayBasis, Event, ProbeDay, Why, find_next_kind
from alerts.windows import Evaluation, Span, evaluate, trailing_mean
from probes.daily import find_usable
from service.evaluation import BlockEvaluation, find_instants
from service.lending import describe_neighbour
from service.root_zones import place_probes
from service.store.daily import fetch_coverage
from service.store.loggers import fetch_probes
from service.store.readings import fetch_readings


def explain(
    connection: Connection, one: BlockEvaluation, season: int | None, kind: Kind | None
) -> list[Why]:
    """Return what decided the dates of a season or of a kind of window, where one is asked for;
    else how a block stands.
    """
    if season is None and kind is None:
        return [explain_today(connection, one)]
    return explain_windows(connection, one, season, kind)


def explain_windows(
    connection: Connection, one: BlockEvaluation, season: int | None, kind: Kind | None
) -> list[Why]:
    """Return what decided each opening and close of a block's windows, all or those asked for."""
    found: list[Why] = []
    for span, bounds in zip(one.evaluation.spans, one.bounds, strict=True):
        if season in (None, span.season) and kind in (None, span.kind):
            found.append(explain_opening(connection, one, span, bounds))
            if span.closed_on:
                found.append(_explain_close(connection, one, span, bounds, span.closed_on))
    return found


def explain_today(connection: Connection, one: BlockEvaluation) -> Why:
    """Return what decided that a block is open, or what keeps it from being open."""
    if one.state == "open":
        return explain_opening(connection, one, one.evaluation.spans[-1], one.bounds[-1])
    standing, state = one.evaluation.standing, one.state
    spans = _of_season(one.evaluation, standing.season)
    first_spring = next((span for span in spans if span.kind == "spring"), None)
    kind = find_next_kind(standing, first_spring, one.rule, state, one.as_of)
    basis_on = standing.mean_on if state != "no recent readings" else None
    return _explain(connection, one, "not open", one.as_of, kind, basis_on or one.as_of)


def explain_opening(
    connection: Connection, one: BlockEvaluation, span: Span, bounds: Bounds
) -> Why:
    """Return what decided the opening of a window."""
    why = _explain(connection, one, "opened", span.opened_on, span.kind, span.opened_on)
    return _with_dates(why, span.not_before, bounds.opened)


def _explain_close(
    connection: Connection, one: BlockEvaluation, span: Span, bounds: Bounds, closed_on: date
) -> Why:
    why = _explain(connection, one, "closed", closed_on, span.kind, closed_on, span)
    by_calendar = span.reason in ("spent", "season over")
    not_before = closed_on if by_calendar else span.closed_not_before or closed_on
    return _with_dates(why, not_before, None if by_calendar else bounds.closed)


def _with_dates(why: Why, not_before: date, between: DateRange | None) -> Why:
    return replace(why, not_before=not_before, between=between)


def _explain(
    connection: Connection,
    one: BlockEvaluation,
    event: Event,
    day: date,
    kind: Kind,
    basis_on: date,
    closed: Span | None = None,
) -> Why:
    day_before = day - timedelta(days=1)
    first = season_start(season_of(day_before, one.block.south), one.block.south)
    before = _evaluate(one, first, day_before)
    then = one.evaluation if day == one.as_of else _evaluate(one, first, day)
    season = closed.season if closed else then.standing.season
    return Why(
        event=event,
        day=day,
        kind=kind,
        reason=closed.reason if closed else None,
        state=one.state if event == "not open" else None,
        rule=one.rule,
        south=one.block.south,
        root_zone_cm=one.block.root_zone_cm,
        stations=one.block.sources,
        basis=_find_basis(connection, one, basis_on),
        means=_find_means(one, basis_on),
        before=before.standing,
        standing=then.standing,
        spans=_of_season(then, season),
        not_before=day,
        between=None,
    )


def _evaluate(one: BlockEvaluation, first: date, day: date) -> Evaluation:
    """Return what the rule said of a block on the evening of a day, by all that is known now.

    `first` begins the first season that counts: none carries anything into the next but its means.
    """
    zone = one.root_zone
    part = zone.day >= np.datetime64(first - timedelta(days=one.rule.mean_days - 1))
    root_zone_c, south = zone.root_zone_c[np.newaxis, part], np.array([one.block.south])
    warmth_c = None if one.warmth_c is None else one.warmth_c[np.newaxis, part]
    return evaluate(root_zone_c, zone.day[part], south, one.rule, day, warmth_c)[0]


def _of_season(evaluation: Evaluation, season: int) -> tuple[Span, ...]:
    return tuple(span for span in evaluation.spans if span.season == season)


def _find_means(one: BlockEvaluation, last: date) -> tuple[tuple[date, float | None], ...]:
    zone = one.root_zone
    mean_c = trailing_mean(zone.root_zone_c, one.rule)
    of_day = dict(zip(zone.day.tolist(), mean_c.tolist(), strict=True))
    days = [last - timedelta(days=back) for back in reversed(range(SHOWN_MEANS))]
    return tuple((day, _known(of_day.get(day))) for day in days)


def _find_basis(connection: Connection, one: BlockEvaluation, day: date) -> DayBasis:
    zone, block = one.root_zone, one.block
    place = int((np.datetime64(day, "D") - zone.day[0]).astype(int))
    if not 0 <= place < zone.day.size:
        return DayBasis(day, None, ())
    basis_cm = [depths_cm for start, depths_cm in zone.bases if start <= place][-1]
    lenders = compress(block.lenders, zone.lent[:, place]) if zone.lent.size else ()
    return DayBasis(
        day=day,
        root_zone_c=_known(float(zone.root_zone_c[place])),
        probes=tuple(_find_probes(connection, one, day, basis_cm)),
        carried_from_cm=basis_cm[-1] if zone.carried[place] and basis_cm else None,
        lent_by=tuple(map(describe_neighbour, lenders)),
    )


def _find_probes(
    connection: Connection, one: BlockEvaluation, day: date, basis_cm: Iterable[float]
) -> Iterator[ProbeDay]:
    days = np.array([day], "datetime64[D]")
    ids, depth_cm = place_probes(one.block.stretches, days)
    depth_of = {
        probe_id: depth
        for probe_id, depth in zip(ids, depth_cm[:, 0].tolist(), strict=True)
        if depth in basis_cm
    }
    coverage = fetch_coverage(connection, depth_of, day)
    for logger, probe in fetch_probes(connection, depth_of):
        readings = fetch_readings(connection, probe.id, *find_instants(logger, days))
        hours, complete = coverage.get(probe.id, (0, False))
        by_hand = probe.id in one.block.hand_probes
        yield ProbeDay(
            depth_cm=depth_of[probe.id],
            hours=None if by_hand else hours,
            left_out=int((~find_usable(readings, logger.use_suspect)).sum()),
            complete=complete,
        )


def _known(value: float | None) -> float | None:
    return None if value is None or isnan(value) else value

"""The round: evaluate every block, note what changed, compose the digests, deliver them.

One runs at a time, on whichever host (service/one_round.py). What takes long only reads, and no
writer waits for it. What was found is one transaction: notices and silences, with those who are to
be told. Composing is another: digests, their messages in the outbox, and what they tell being told
are kept together or not at all. Delivery follows, message by message; `digseason serve` does it
apart, so that thousands of messages hold up no round. It also finds outlooks apart
(service/looking_ahead.py); a round by hand does so first.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine

from alerts.ahead import Standing, find_ahead
from alerts.bounds import DateRange
from alerts.changes import Change, Told, find_changes, find_untold_pauses, is_known
from alerts.notices import ASIDE, Notice
from alerts.nowcasts import find_nowcast, settle_nowcasts
from alerts.outlook.dates import Outlook
from alerts.season import season_of
from alerts.silence_news import SilenceNotice
from alerts.windows import Kind, Reason, Span
from service.advisories.drafting import draft_if_due
from service.advisories.releasing import compose_released
from service.advisories.telling import compose_drafts
from service.bounces.taking_in import BounceReport, take_in_bounces
from service.charts.blocks import see_blocks
from service.delivery import DeliveryReport, deliver
from service.digests import compose_waiting
from service.due import When, find_shown
from service.evaluation import BlockEvaluation, as_of_day, evaluate_blocks
from service.finds.telling import compose_finds
from service.looking_ahead import look_ahead
from service.one_round import holding_round
from service.settings import Settings
from service.showing import rests_on_estimates
from service.silences import Silences, find_turned_silences, keep_silences
from service.store.accounts import forget_sessions
from service.store.attempts import forget_ended
from service.store.blocks import fetch_told_blocks
from service.store.engine import reading, writing
from service.store.notices import fetch_told, keep_untold_pauses, store_notices
from service.store.round_lease import RoundLease, renew_lease
from service.store.rounds import begin_round, count_changes, finish_round, is_evaluation_due
from service.unchecked import flag_unchecked

SEASONS_BACK = 2  # late readings may still correct what was told of the season before

BY_HAND_PATIENCE_S = 3  # a round of `serve` that finds nothing due takes less


@dataclass(frozen=True)
class RoundReport:
    """What a round came to; `advisory`: the number of the one that it drafted."""

    evaluations: list[BlockEvaluation]
    notices: list[Notice]
    silences: list[SilenceNotice]
    digests: int
    delivery: DeliveryReport = field(default_factory=DeliveryReport)
    bounces: BounceReport = field(default_factory=BounceReport)
    advisory: int | None = None

    @property
    def delivered(self) -> list[Path]:
        """The files that messages were delivered into."""
        return self.delivery.files


@dataclass(frozen=True)
class _Found:
    """What a round has found, and the changes of what it reads that it has seen."""

    evaluations: list[BlockEvaluation] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    pauses: list[tuple[str, int, Kind]] = field(default_factory=list)
    silences: Silences = field(default_factory=Silences)
    changes: int = 0
    advisory: int | None = None


def run_round(
    engine: Engine, settings: Settings, now: datetime, as_of: date | None = None
) -> RoundReport:
    """Run a round now, telling everyone at once; each block as of its own yesterday, or `as_of`.

    A look back tells nothing of loggers that are silent: what had arrived by then is not known.
    RoundHeldError where another process runs one that does not end soon.
    """
    with holding_round(engine, BY_HAND_PATIENCE_S) as lease:
        flag_unchecked(engine)
        bounces = take_in_bounces(engine, settings, now)
        look_ahead(engine, settings, lease, now, as_of)
        found = _evaluate(engine, settings, lease, now, as_of)
        digests = _compose(engine, settings, lease, When(now, as_of, at_their_hour=False))
    delivery = deliver(engine, settings, now)
    return _report(found, digests, delivery=delivery, bounces=bounces)


def run_due(engine: Engine, settings: Settings, now: datetime) -> RoundReport:
    """Do what is due: evaluate after new readings or outlooks; write each at their hour.

    Outlooks are those that are kept for the day, if any: service/looking_ahead.py.
    RoundHeldError where another process runs a round.
    """
    with holding_round(engine) as lease:
        flag_unchecked(engine)
        with reading(engine) as connection:
            is_due = is_evaluation_due(connection, now)
        found = _Found()
        if is_due:
            found = _evaluate(engine, settings, lease, now, None)
        digests = _compose(engine, settings, lease, When(now, None, at_their_hour=True))
    return _report(found, digests)


def _report(found: _Found, digests: int, **more: Any) -> RoundReport:
    told = found.notices, found.silences.notices, digests
    return RoundReport(found.evaluations, *told, advisory=found.advisory, **more)


def _evaluate(
    engine: Engine, settings: Settings, lease: RoundLease, now: datetime, as_of: date | None
) -> _Found:
    """Evaluate all blocks, keep a notice of each change and each silence."""
    begun_s = time.monotonic()
    with writing(engine) as connection:
        renew_lease(connection, lease)
        round_id = begin_round(connection, as_of, now)
    with reading(engine) as connection:
        found = _find(connection, settings, now, as_of)
    with writing(engine) as connection:
        renew_lease(connection, lease)
        store_notices(connection, round_id, found.notices)
        keep_untold_pauses(connection, found.pauses)
        keep_silences(connection, found.silences, now)
        counts = len(found.evaluations), len(found.notices), found.changes
        advisory = draft_if_due(connection, found.evaluations, now, settings.advisory_days)
        forget_ended(connection, now)
        forget_sessions(connection, now)
        took = timedelta(seconds=time.monotonic() - begun_s)
        finish_round(connection, round_id, now + took, *counts)
    return replace(found, advisory=advisory)


def _find(connection: Connection, settings: Settings, now: datetime, as_of: date | None) -> _Found:
    """Evaluate all blocks; return what has changed since it was told, and which silences turned."""
    changes = count_changes(connection)
    blocks = fetch_told_blocks(connection)
    days = [as_of or as_of_day(block, now) for block in blocks]
    evaluations = evaluate_blocks(
        connection, blocks, days, SEASONS_BACK, settings.sensor_accuracy_c
    )
    seasons = [season_of(day, block.south) for block, day in zip(blocks, days, strict=True)]
    told = fetch_told(connection, min(seasons, default=0) - SEASONS_BACK + 1)
    notices: list[Notice] = []
    pauses: list[tuple[str, int, Kind]] = []
    for one, season in zip(evaluations, seasons, strict=True):
        of_block = [other for other in told[one.block.id] if other.season > season - SEASONS_BACK]
        turns = _find_changes(one, of_block, one.outlook, settings.soon_days)
        notices += [_notice(one, turn) for turn in turns]
        untold = find_untold_pauses(one.evaluation.spans, one.as_of)
        pauses += [(one.block.id, *window) for window in untold]
    silences = Silences()
    if as_of is None:
        silences = find_turned_silences(connection, evaluations, now, settings.silent_factor)
    return _Found(evaluations, notices, pauses, silences, changes)


def _find_changes(
    one: BlockEvaluation, told: list[Told], outlook: Outlook | None, soon_days: int
) -> list[Change]:
    """Return what readings have changed of a block; without any its nowcast, or what is ahead."""
    spans, standing = one.evaluation.spans, one.evaluation.standing
    believed = [notice for notice in told if notice.what not in ASIDE]
    found = find_changes(spans, believed, one.as_of)
    changes = list(settle_nowcasts(found, spans, believed, standing.mean_on, one.as_of))
    if not changes and outlook and one.state == "no recent readings":
        nowcast = find_nowcast(outlook, believed)
        changes = [nowcast] if nowcast else []
    if changes:
        return changes
    zone = one.root_zone
    return list(
        find_ahead(
            Standing(
                spans,
                standing.season,
                one.state,
                outlook,
                told,
                one.rule,
                one.block.south,
                zone.root_zone_c,
                zone.day,
                one.as_of,
            ),
            soon_days,
        )
    )


def _compose(engine: Engine, settings: Settings, lease: RoundLease, when: When) -> int:
    """Compose the digests that are due; what they show is drawn before, and no writer waits."""
    with reading(engine) as connection:
        shown, pictured = find_shown(connection, settings, when)
    seen = see_blocks(engine, shown, pictured, settings.sensor_accuracy_c)
    with writing(engine) as connection:
        renew_lease(connection, lease)
        digests = compose_waiting(connection, settings, when, seen)
        compose_drafts(connection, settings, when)
        digests += compose_finds(connection, settings, when)
    compose_released(engine, settings, when.now)
    return digests


def _is_known(one: BlockEvaluation, change: Change) -> bool:
    zone = one.root_zone
    return is_known(change, zone.root_zone_c, zone.day, one.rule, one.state, one.as_of)


def _notice(one: BlockEvaluation, change: Change) -> Notice:
    """Return the notice of a change, with the facts its text needs."""
    rule, span, standing = one.rule, change.span, one.evaluation.standing
    told_opened_on, told_closed_on = change.told or change.nowcast_said or (None, None)
    since = change.nowcast and change.nowcast.since
    of_window = [
        other.opened_on
        for other in one.evaluation.spans
        if (other.season, other.kind) == (change.season, change.kind)
    ]
    opened_range, closed_range = _find_ranges(one, span) if span else (change.likely, None)
    spring_is_open = span and span.closed_on is None and span.kind == "spring"
    limits_c: dict[Kind | Reason | None, float] = {
        "spring": rule.spring_opens_c,
        "fall": rule.cold_below_c,
        "cold": rule.cold_below_c,
        "hot": rule.hot_above_c,
    }
    turned_on = span.reason if span and span.closed_on else change.kind
    if span is None and change.likely is None:
        turned_on = None
    return Notice(
        block_id=one.block.id,
        block_name=one.block.name,
        site_name=one.block.site_name,
        season=change.season,
        kind=change.kind,
        what=change.what,
        opened_on=since if change.what == "probably open" else span and span.opened_on,
        not_before=span and span.not_before,
        closed_on=since if change.what == "probably closed" else span and span.closed_on,
        reason=span and span.reason,
        told_opened_on=told_opened_on,
        told_closed_on=told_closed_on,
        ends_by=of_window[0] + timedelta(days=rule.spring_days) if spring_is_open else None,
        mean_c=standing.mean_c,
        mean_on=standing.mean_on,
        limit_c=limits_c.get(turned_on),
        root_zone_cm=one.block.root_zone_cm,
        basis_cm=one.root_zone.basis_cm,
        sources=one.sources,
        mean_days=rule.mean_days,
        fall_follows="fall" in rule.windows,
        closed_not_before=span and span.closed_not_before,
        opened_range=opened_range,
        closed_range=closed_range,
        carried=one.root_zone.is_carried,
        estimated=not one.root_zone.is_carried
        and span is not None
        and rests_on_estimates(one, span.closed_on or span.opened_on),
        not_known=not _is_known(one, change),
        nowcast=change.nowcast,
        summary=change.summary,
    )


def _find_ranges(one: BlockEvaluation, span: Span) -> tuple[DateRange | None, DateRange | None]:
    """Return how far the dates of a span may be off; one that is told may be several in one."""
    opened: DateRange | None = None
    closed: DateRange | None = None
    for each, bounds in zip(one.evaluation.spans, one.bounds, strict=True):
        if (each.season, each.kind) == (span.season, span.kind):
            opened = bounds.opened if each.opened_on == span.opened_on else opened
            closed = bounds.closed if each.closed_on == span.closed_on else closed
    return opened, closed

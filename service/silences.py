"""Silences noticed in a round: kept while they last, told once, told again when they are over."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np
from sqlalchemy import Connection

from alerts.silence import SHORTEST, Standing, Turn, find_turn
from alerts.silence_news import SilenceNotice
from probes.frames import FAIL
from service.evaluation import BlockEvaluation
from service.listening import Key, Listened, find_depth_cm, is_fresh, listen
from service.store.blocks import Block
from service.store.readings import fetch_readings
from service.store.recipients import find_readers
from service.store.silences import (
    Silence,
    add_silence,
    end_silence,
    fetch_silences,
    store_silence_notice,
)
from service.store.sources import fetch_sources
from service.store.stations import fetch_stations

DAY = timedelta(days=1)


@dataclass(frozen=True)
class Turned:
    """A silence that has begun, or one that is over, with what is told of it.

    silence : that is over; None: it has begun
    """

    source_id: str
    key: Key
    standing: Standing
    silence: Silence | None
    notice: SilenceNotice
    block_ids: tuple[str, ...]
    readers: tuple[str, ...]


@dataclass(frozen=True)
class Silences:
    """What a round finds of silences; `forgotten` are over without a word."""

    turned: list[Turned] = field(default_factory=list)
    forgotten: list[Silence] = field(default_factory=list)

    @property
    def notices(self) -> list[SilenceNotice]:
        """What is told."""
        return [one.notice for one in self.turned]


def find_turned_silences(
    connection: Connection, evaluations: Sequence[BlockEvaluation], now: datetime, factor: float
) -> Silences:
    """Return which loggers, stations and probes have fallen silent or are back.

    What is not in use any more is forgotten without a word, and a download that was due: whoever
    brought the readings in knows. `factor` holds for those of which the farm file says none.
    """
    known = fetch_silences(connection)
    resting = _find_resting(evaluations)
    borrowing = _find_borrowing(evaluations, resting)
    turned: list[Turned] = []
    forgotten: list[Silence] = []
    for source in fetch_sources(connection):
        if source.study_only:
            continue
        of_source = known.get(source.id, {})
        if not of_source and is_fresh(source, now):
            continue
        one = listen(connection, source)
        for key, standing in one.find_standings(now, factor).items():
            silence = of_source.pop(key, None)
            turn = find_turn(standing, silence and silence.last_reading_at)
            if turn is None:
                continue
            if silence is None:
                notice = _describe_silence(connection, one, key, turn, standing.newest_at, now)
            elif silence.kind == "due":
                forgotten.append(silence)
                continue
            else:
                notice = _describe_return(connection, one, key, silence, now)
            probe_ids = [key] if key is not None else list(source.probes)
            served = [resting] if turn == "due" else [resting, borrowing]
            blocks = {
                block.id: block for of in served for one_id in probe_ids for block in of[one_id]
            }
            readers = _find_readers(connection, evaluations, one, turn, list(blocks))
            turned.append(
                Turned(source.id, key, standing, silence, notice, tuple(blocks), tuple(readers))
            )
    left = (silence for of_source in known.values() for silence in of_source.values())
    return Silences(turned, [*forgotten, *left])


def keep_silences(connection: Connection, found: Silences, now: datetime) -> None:
    """Keep what a round has found of silences, with those who are to be told."""
    for one in found.turned:
        if one.silence is None:
            standing = one.standing
            silence_id = add_silence(
                connection, one.source_id, one.key, standing.kind, standing.newest_at, now
            )
        else:
            silence_id = one.silence.id
            end_silence(connection, silence_id, now)
        store_silence_notice(connection, silence_id, one.notice, one.block_ids, one.readers)
    for silence in found.forgotten:
        end_silence(connection, silence.id, now)


def _find_resting(evaluations: Sequence[BlockEvaluation]) -> dict[int, list[Block]]:
    """Return the blocks whose root zone rests on each probe now."""
    resting: dict[int, list[Block]] = defaultdict(list)
    for one in evaluations:
        depths_cm: dict[int, float] = {}
        for stretch in one.block.stretches:
            if stretch.valid_from <= one.as_of:
                depths_cm[stretch.probe_id] = stretch.depth_cm
        for probe_id, depth_cm in depths_cm.items():
            if depth_cm in one.root_zone.basis_cm:
                resting[probe_id].append(one.block)
    return resting


def _find_borrowing(
    evaluations: Sequence[BlockEvaluation], resting: Mapping[int, Sequence[Block]]
) -> dict[int, list[Block]]:
    """Return the blocks that borrow from those that rest on each probe, or from its station."""
    at: dict[str, list[int]] = defaultdict(list)
    for probe_id, blocks in resting.items():
        for block in blocks:
            at[block.id].append(probe_id)
    borrowing: dict[int, list[Block]] = defaultdict(list)
    for one in evaluations:
        if not one.root_zone.lent.any():
            continue
        for lender, lent in zip(one.block.lenders, one.root_zone.lent, strict=True):
            if lent.any():
                place = lender.place
                own = [stretch.probe_id for stretch in place.in_use]
                for probe_id in own if lender.is_station else at[place.id]:
                    borrowing[probe_id].append(one.block)
    return borrowing


def _find_readers(
    connection: Connection,
    evaluations: Sequence[BlockEvaluation],
    one: Listened,
    turn: Turn,
    block_ids: list[str],
) -> list[str]:
    """Return who is told: all who hear of the blocks that rest on it, or else of its site's.

    A coordinator empties no loggers; only where there is no one else are they told that it is due.
    """
    site_id = one.source.site_id
    of_site = [found.block.id for found in evaluations if found.block.site_id == site_id]
    readers = find_readers(connection, block_ids or of_site)
    others = [name for name, role in readers.items() if role != "coordinator"]
    return others if turn == "due" and others else list(readers)


def _describe_silence(
    connection: Connection,
    one: Listened,
    key: Key,
    turn: Turn,
    last_at: datetime,
    now: datetime,
) -> SilenceNotice:
    ends = one.source.probes
    newest_of_any_at = max(
        end.newest_of_any_at for probe_id, end in ends.items() if key in (None, probe_id)
    )
    cadence = one.heard.cadence if one.heard else None
    failing_since = failure = None
    if one.source.is_station and key is None:
        (station,) = fetch_stations(connection, one.source.id)
        failing_since, failure = station.failing_since, station.failure
    return SilenceNotice(
        what=turn,
        logger_id=one.source.id,
        is_station=one.source.is_station,
        site_name=one.source.site_name,
        depth_cm=find_depth_cm(one.logger, key, now),
        last_on=_day_of(last_at, one),
        unusable=newest_of_any_at > last_at,
        usual_days=round(cadence.every / DAY) if turn == "due" and cadence else None,
        failing_since=failing_since and _day_of(failing_since, one),
        failure=failure,
    )


def _describe_return(
    connection: Connection, one: Listened, key: Key, silence: Silence, now: datetime
) -> SilenceNotice:
    """Say that readings are back, and where the longest stretch is that is missing still."""
    ids = [key] if key is not None else list(one.source.probes)
    every = min(one.heard.probes[probe_id].every for probe_id in ids) if one.heard else DAY
    came = [fetch_readings(connection, probe_id, after=silence.last_reading_at) for probe_id in ids]
    last_at = np.datetime64(silence.last_reading_at.replace(tzinfo=None), "us")
    usable = [readings.observed_at[readings.flag != FAIL] for readings in came]
    instants = np.unique(np.concatenate([[last_at], *usable]))
    longest = int(np.argmax(np.diff(instants)))
    begin, end = (
        instants[place].item().replace(tzinfo=silence.last_reading_at.tzinfo)
        for place in (longest, longest + 1)
    )
    is_missing = end - begin > SHORTEST + every
    return SilenceNotice(
        what="returned",
        logger_id=one.source.id,
        is_station=one.source.is_station,
        site_name=one.source.site_name,
        depth_cm=find_depth_cm(one.logger, key, now),
        last_on=_day_of(begin if is_missing else silence.last_reading_at, one),
        back_on=_day_of(end, one) if is_missing else None,
    )


def _day_of(instant: datetime, one: Listened) -> date:
    """Return the day of an instant, in standard time of its site; midnight ends a day."""
    local = instant + timedelta(minutes=one.source.utc_offset_min)
    return (local - timedelta(microseconds=1)).date()

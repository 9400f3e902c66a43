"""Stations: what their feeds need, how far each has been fetched, and how that went."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, func, insert, select, update

from service.store.fetch_state import FetchState
from service.store.tables import (
    feed_state,
    layout,
    logger,
    probe,
    probe_stretch,
    reading,
    site,
    station,
)


class UnknownStationError(LookupError):
    """There is no station of that name."""


@dataclass(frozen=True)
class StationRow(FetchState):
    """A station and the state of its feed.

    validators : of the last fetch of all there was; asked_since : how far back it asked
    again_since : how far back the next one asks, where readings since then were withdrawn
    """

    id: str
    feed: str
    layout_name: str | None
    layout_spec: Mapping[str, Any] | None
    site_name: str
    utc_offset_min: int
    asked_since: datetime | None
    again_since: datetime | None
    validators: Mapping[str, Mapping[str, str]]


def fetch_stations(connection: Connection, station_id: str | None = None) -> list[StationRow]:
    """Return the active stations, or the one that is named."""
    query = (
        select(
            station,
            logger.c.layout_name,
            layout.c.spec.label("layout_spec"),
            site.c.name.label("site_name"),
            site.c.utc_offset_min,
            feed_state.c.attempted_at,
            feed_state.c.fetched_at,
            feed_state.c.validators,
            feed_state.c.failing_since,
            feed_state.c.failure,
        )
        .join(logger, logger.c.id == station.c.logger_id)
        .join(site, site.c.id == logger.c.site_id)
        .outerjoin(layout, layout.c.name == logger.c.layout_name)
        .join(feed_state, feed_state.c.logger_id == station.c.logger_id)
        .where(logger.c.retired_at.is_(None))
        .order_by(station.c.logger_id)
    )
    found = [_station(dict(row)) for row in connection.execute(query).mappings()]
    if station_id is None:
        return found
    for one in found:
        if one.id == station_id:
            return [one]
    known = ", ".join(one.id for one in found) or "none yet; add a [[station]] to the farm file"
    raise UnknownStationError(f"no station '{station_id}'; there are: {known}")


def _station(row: dict[str, Any]) -> StationRow:
    asked = row.pop("validators")
    since, again = (asked.get(name) for name in ("since", "again"))
    return StationRow(
        id=row.pop("logger_id"),
        asked_since=since and datetime.fromisoformat(since),
        again_since=again and datetime.fromisoformat(again),
        validators=asked["urls"],
        **row,
    )


def find_last_readings(connection: Connection, station_id: str) -> list[datetime]:
    """Return the instant of the last reading of each probe of a station that has one."""
    query = (
        select(func.max(reading.c.observed_at))
        .join(probe, probe.c.id == reading.c.probe_id)
        .where(probe.c.logger_id == station_id)
        .group_by(reading.c.probe_id)
    )
    return list(connection.scalars(query))


def find_first_reading(connection: Connection, station_id: str) -> datetime | None:
    """Return the instant of the first reading of a station; None without any."""
    query = (
        select(func.min(reading.c.observed_at))
        .join(probe, probe.c.id == reading.c.probe_id)
        .where(probe.c.logger_id == station_id)
    )
    return connection.scalar(query)


def add_probes(connection: Connection, station_id: str, depth_cm: Mapping[str, float]) -> None:
    """Give each channel its probe and its depth; a depth that has changed is corrected."""
    query = (
        select(probe.c.channel, probe.c.id, probe_stretch.c.depth_cm)
        .join(probe_stretch)
        .where(probe.c.logger_id == station_id)
    )
    known = {channel: (probe_id, depth) for channel, probe_id, depth in connection.execute(query)}
    for channel, depth in depth_cm.items():
        if channel not in known:
            of_channel = insert(probe).values(logger_id=station_id, channel=channel)
            probe_id = connection.execute(of_channel.returning(probe.c.id)).scalar_one()
            connection.execute(
                insert(probe_stretch).values(
                    probe_id=probe_id,
                    valid_from=date.min,
                    depth_cm=depth,
                    calibration_offset_c=0.0,
                )
            )
        elif known[channel][1] != depth:
            of_probe = probe_stretch.c.probe_id == known[channel][0]
            connection.execute(update(probe_stretch).where(of_probe).values(depth_cm=depth))


def claim_attempt(connection: Connection, one: StationRow, now: datetime) -> bool:
    """Note that a station is being fetched; False where another process has begun meanwhile."""
    before = feed_state.c.attempted_at.is_not_distinct_from(one.attempted_at)
    claimed = connection.execute(
        update(feed_state).where(feed_state.c.logger_id == one.id, before).values(attempted_at=now)
    )
    return claimed.rowcount == 1


def begin_attempt(connection: Connection, station_id: str, now: datetime) -> StationRow:
    """Note that a station is being fetched; return it as it is now. UnknownStationError."""
    of_station = feed_state.c.logger_id == station_id
    connection.execute(update(feed_state).where(of_station).values(attempted_at=now))
    (one,) = fetch_stations(connection, station_id)
    return one


def note_success(
    connection: Connection,
    one: StationRow,
    since: datetime,
    validators: Mapping[str, Mapping[str, str]],
) -> None:
    """Note that all there is from an instant on has been fetched."""
    _note(
        connection,
        one,
        fetched_at=one.attempted_at,
        validators={"since": since.isoformat(), "urls": validators},
        failing_since=None,
        failure=None,
    )


def note_failure(connection: Connection, one: StationRow, failure: str) -> None:
    """Note that a fetch failed, and since when fetches fail."""
    _note(connection, one, failing_since=one.failing_since or one.attempted_at, failure=failure)


def ask_again(connection: Connection, station_id: str, since: datetime) -> None:
    """Let the next fetch, which is due at once, go back as far as this, and read its answers even
    where unchanged.
    """
    of_station = feed_state.c.logger_id == station_id
    asked = connection.scalar(select(feed_state.c.validators).where(of_station))
    again = min(since.isoformat(), (asked or {}).get("again") or since.isoformat())
    validators = {"since": None, "urls": {}, "again": again}
    connection.execute(
        update(feed_state).where(of_station).values(attempted_at=None, validators=validators)
    )


def _note(connection: Connection, one: StationRow, **values: Any) -> None:
    """Note how the attempt went that was begun, unless the station is to be asked anew since."""
    is_this = (feed_state.c.logger_id == one.id, feed_state.c.attempted_at == one.attempted_at)
    connection.execute(update(feed_state).where(*is_this).values(values))

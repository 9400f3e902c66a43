"""Soil thermometers, and what people noted of the readings they took with them."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, insert, select

from probes.units import Unit
from service.store.among import among
from service.store.bulk import execute_many
from service.store.tables import (
    block,
    hand_note,
    hand_thermometer,
    logger,
    probe,
    probe_stretch,
    reading,
    recipient,
    recipient_block,
    site,
)


@dataclass(frozen=True)
class Thermometer:
    """A soil thermometer in use and where it is read.

    unit : of a reading that does not say its own; None: each must
    depths_cm : at which it is read, ascending
    """

    id: str
    name: str
    unit: Unit | None
    site_id: str
    site_name: str
    timezone: str
    utc_offset_min: int
    depths_cm: tuple[float, ...]


@dataclass(frozen=True)
class HandNote:
    """A reading that was taken by hand, as the table hand_note has it."""

    import_id: int
    number: int
    probe_id: int
    observed_at: datetime
    said: str
    person: str
    note: str


@dataclass(frozen=True)
class HandReading:
    """A note whose reading is kept: it was the first of its time, and not taken back."""

    import_id: int
    thermometer: str
    observed_at: datetime
    depth_cm: float
    soil_temp_c: float
    flag: int
    said: str
    person: str
    note: str


def fetch_thermometers(connection: Connection, *where: ColumnElement[bool]) -> list[Thermometer]:
    """Return the thermometers in use, by id."""
    query = (
        select(
            logger.c.id,
            hand_thermometer.c.name,
            hand_thermometer.c.unit,
            site.c.id.label("site_id"),
            site.c.name.label("site_name"),
            site.c.timezone,
            site.c.utc_offset_min,
        )
        .join(hand_thermometer, hand_thermometer.c.logger_id == logger.c.id)
        .join(site, site.c.id == logger.c.site_id)
        .where(logger.c.retired_at.is_(None), *where)
        .order_by(logger.c.id)
    )
    found = []
    for row in connection.execute(query).mappings().all():
        depths = (
            select(probe_stretch.c.depth_cm)
            .join(probe, probe.c.id == probe_stretch.c.probe_id)
            .where(probe.c.logger_id == row["id"], probe_stretch.c.until.is_(None))
            .order_by(probe_stretch.c.depth_cm)
        )
        found.append(Thermometer(**row, depths_cm=tuple(connection.scalars(depths))))
    return found


def fetch_thermometers_of_phone(
    connection: Connection, phone: str
) -> list[tuple[str, str, list[Thermometer]]]:
    """Return name and language of those who are told by a number, each with what they may read.

    That is what is at the sites of their blocks.
    """
    known = connection.execute(
        select(recipient).where(recipient.c.phone == phone, recipient.c.retired_at.is_(None))
    )
    return [
        (row.name, row.language, fetch_thermometers(connection, *_at_sites_of(row)))
        for row in known.all()
    ]


def _at_sites_of(row: Any) -> list[ColumnElement[bool]]:
    if row.all_blocks:
        return []
    sites = (
        select(block.c.site_id)
        .join(recipient_block, recipient_block.c.block_id == block.c.id)
        .where(recipient_block.c.recipient_name == row.name)
    )
    return [logger.c.site_id.in_(sites)]


def store_hand_notes(connection: Connection, notes: Iterable[HandNote]) -> None:
    """Keep what was noted."""
    execute_many(connection, insert(hand_note), (vars(one) for one in notes))


def fetch_hand_readings(
    connection: Connection, logger_ids: Collection[str], import_id: int | None = None
) -> list[HandReading]:
    """Return what is kept of what was noted with thermometers, in the order in which it came."""
    query = (
        select(
            hand_note.c.import_id,
            probe.c.logger_id.label("thermometer"),
            hand_note.c.observed_at,
            probe_stretch.c.depth_cm,
            reading.c.soil_temp_c,
            reading.c.flag,
            hand_note.c.said,
            hand_note.c.person,
            hand_note.c.note,
        )
        .join(probe, probe.c.id == hand_note.c.probe_id)
        .join(probe_stretch, probe_stretch.c.probe_id == hand_note.c.probe_id)
        .join(
            reading,
            (reading.c.probe_id == hand_note.c.probe_id)
            & (reading.c.observed_at == hand_note.c.observed_at)
            & (reading.c.import_id == hand_note.c.import_id),
        )
        .where(among(probe.c.logger_id, logger_ids))
        .order_by(hand_note.c.import_id, hand_note.c.number)
    )
    if import_id is not None:
        query = query.where(hand_note.c.import_id == import_id)
    return [HandReading(**row) for row in connection.execute(query).mappings()]

"""The vigour of blocks as it was measured, and the patches that were set aside."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from math import isnan

import numpy as np
from sqlalchemy import Connection, delete, insert, select, update

from alerts.dig.records import Vine
from alerts.dig.vigour import Planting, Vigour
from service.store.tables import block, block_numbering, patch_set_aside, vigour_survey

_GRID = ("first_row", "first_vine", "rows_each", "vines_each")


@dataclass(frozen=True, eq=False)
class KeptVigour:
    """What was measured in a block on a day."""

    measured_on: date
    measure: str
    file: str
    vigour: Vigour


@dataclass(frozen=True)
class SetAside:
    """A patch that something else explains than what is dug for; None: it still is."""

    id: int
    vines: frozenset[Vine]
    person: str
    why: str
    set_at: datetime


def fetch_planting(connection: Connection, block_id: str) -> Planting | None:
    """Return how the vines of a block stand; None where that is not said."""
    both = select(block, block_numbering).outerjoin(block_numbering).where(block.c.id == block_id)
    row = connection.execute(both).one()
    if not (row.row_spacing_m and row.vine_spacing_m):
        return None
    first = row.first_latitude, row.first_longitude
    return Planting(
        row.row_spacing_m,
        row.vine_spacing_m,
        row.row_azimuth_deg,
        row.rows_counted == "left",
        None if None in first else first,
    )


def fetch_measured(connection: Connection) -> frozenset[str]:
    """Return the ids of the blocks whose vigour was ever measured."""
    return frozenset(connection.scalars(select(vigour_survey.c.block_id).distinct()))


def keep_vigour(connection: Connection, block_id: str, kept: KeptVigour, now: datetime) -> None:
    """Keep what was measured, instead of what was kept of the same day and measure."""
    key = {"block_id": block_id, "measured_on": kept.measured_on, "measure": kept.measure}
    vigour = kept.vigour
    value = [[None if isnan(one) else one for one in row] for row in vigour.value.tolist()]
    same = [vigour_survey.c[name] == one for name, one in key.items()]
    connection.execute(delete(vigour_survey).where(*same))
    row = {
        **key,
        "file": kept.file,
        "grid": {name: getattr(vigour, name) for name in _GRID},
        "value": value,
        "kept_at": now,
    }
    connection.execute(insert(vigour_survey).values(row))


@dataclass(frozen=True)
class KeptSurvey:
    """What was kept of a block, without its values."""

    id: int
    measured_on: date
    measure: str
    file: str


def fetch_surveys(connection: Connection, block_id: str) -> list[KeptSurvey]:
    """Return all that was measured in a block, the latest first."""
    columns = [vigour_survey.c[name] for name in KeptSurvey.__dataclass_fields__]
    query = select(*columns).where(vigour_survey.c.block_id == block_id)
    latest = vigour_survey.c.measured_on.desc(), vigour_survey.c.kept_at.desc()
    return [KeptSurvey(*row) for row in connection.execute(query.order_by(*latest))]


def drop_survey(connection: Connection, survey: KeptSurvey) -> None:
    """Keep what was measured no longer."""
    connection.execute(delete(vigour_survey).where(vigour_survey.c.id == survey.id))


def fetch_vigour(
    connection: Connection, block_id: str, planting: Planting, *, every_day: bool = False
) -> list[KeptVigour]:
    """Return what was measured last in a block, and on the last day before, the latest first.

    Every day: all that was measured before instead.
    """
    query = select(vigour_survey).where(vigour_survey.c.block_id == block_id)
    query = query.order_by(vigour_survey.c.measured_on.desc(), vigour_survey.c.kept_at.desc())
    last = connection.execute(query.limit(1)).one_or_none()
    if last is None:
        return []
    before = query.where(vigour_survey.c.measured_on < last.measured_on)
    before = before.limit(None if every_day else 1)
    return [
        KeptVigour(
            row.measured_on,
            row.measure,
            row.file,
            Vigour(np.array(row.value, dtype=float), planting, **row.grid),
        )
        for row in [last, *connection.execute(before)]
    ]


def set_aside(
    connection: Connection,
    block_id: str,
    vines: Collection[Vine],
    person: str,
    why: str,
    now: datetime,
) -> None:
    """Keep that a patch is explained."""
    row = {"block_id": block_id, "vines": sorted(map(list, vines))}
    said = {"person": person, "why": why, "set_at": now}
    connection.execute(insert(patch_set_aside).values(row | said))


def take_back(connection: Connection, number: int, person: str, now: datetime) -> None:
    """Let a patch be dug again."""
    query = update(patch_set_aside).where(patch_set_aside.c.id == number)
    connection.execute(query.values(taken_back_at=now, taken_back_by=person))


def fetch_set_aside(connection: Connection, block_id: str) -> list[SetAside]:
    """Return the patches of a block that are set aside now."""
    query = select(patch_set_aside).where(
        patch_set_aside.c.block_id == block_id, patch_set_aside.c.taken_back_at.is_(None)
    )
    return [
        SetAside(row.id, frozenset(map(tuple, row.vines)), row.person, row.why, row.set_at)
        for row in connection.execute(query.order_by(patch_set_aside.c.id))
    ]

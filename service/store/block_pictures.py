"""Charts of blocks that are drawn and kept, with what they were drawn from."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

from sqlalchemy import Connection, func, select
from sqlalchemy.dialects import postgresql, sqlite

from probes.units import Unit
from service.store.tables import account, block_picture, logger_change, probe

LAST_MONTHS = 0
"""The season of a chart that shows the last months, whichever season they are of."""


@dataclass(frozen=True)
class PictureForm:
    """Which chart of a block, and how its readers see it."""

    block_id: str
    season: int
    language: str
    unit: Unit


@dataclass(frozen=True)
class KeptPicture:
    """A chart as an SVG file and in words; `basis` is of what it was drawn from."""

    basis: str
    svg: bytes
    described: str


def find_picture(connection: Connection, form: PictureForm) -> KeptPicture | None:
    """Return a chart as it was drawn last."""
    of = [block_picture.c[name] == value for name, value in vars(form).items()]
    columns = (block_picture.c[name] for name in KeptPicture.__dataclass_fields__)
    row = connection.execute(select(*columns).where(*of)).one_or_none()
    return KeptPicture(row.basis, zlib.decompress(row.svg), row.described) if row else None


def fetch_bases(connection: Connection) -> dict[PictureForm, str]:
    """Return what each chart was drawn from."""
    names = [*PictureForm.__dataclass_fields__, "basis"]
    rows = connection.execute(select(*(block_picture.c[name] for name in names)))
    return {PictureForm(*form): basis for *form, basis in rows}


def keep_picture(connection: Connection, form: PictureForm, picture: KeptPicture) -> None:
    """Keep a chart in the place of the last one."""
    insert = sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    new = {**vars(picture), "svg": zlib.compress(picture.svg)}
    statement = insert(block_picture).values(**vars(form), **new)
    keys = [*vars(form)]
    connection.execute(statement.on_conflict_do_update(index_elements=keys, set_=new))


def fetch_probe_changes(connection: Connection) -> dict[int, int]:
    """Return, by probe, how often what is kept of its logger has changed."""
    of_logger = logger_change.c.logger_id == probe.c.logger_id
    query = select(probe.c.id, logger_change.c.changes).join(logger_change, of_logger)
    return {probe_id: changes for probe_id, changes in connection.execute(query)}  # noqa: C416 (rows are no pairs to pyright)


def fetch_reading_forms(connection: Connection) -> list[tuple[str, Unit]]:
    """Return the languages and units in which accounts read; English where it is the browser's."""
    query = select(func.coalesce(account.c.language, "en"), account.c.unit)
    rows = connection.execute(query.where(account.c.revoked_at.is_(None)).distinct())
    return [(language, unit) for language, unit in rows]

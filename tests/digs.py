"""What digging showed, as tests write it down."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import Engine

from alerts.dig.records import DigRecord, Insects, Roots, Specimen
from service.store.dig_records import keep_dig_record
from service.store.engine import writing

CONFIRMED: dict[str, Any] = {"insects": Insects.FEW, "specimen": Specimen.CONFIRMED}
SEEN: dict[str, Any] = {"insects": Insects.FEW}
DEAD: dict[str, Any] = {"roots": Roots.NONE}


def dig(day: date, vine: int = 1, block_id: str = "river-row", **seen: Any) -> DigRecord:
    """Return a dig at a vine of row 1; unless said otherwise chosen, with fine roots, no insect."""
    told = {"roots": Roots.FINE, "person": "Ada"} | seen
    key = f"{block_id} {day} {vine} {sorted(map(str, seen.items()))}"
    row = told.pop("row", 1)
    return DigRecord(record_id=key, block_id=block_id, vine=(row, vine), dug_on=day, **told)


def dig_by_lot(
    day: date, count: int, first: int = 1, block_id: str = "river-row", **seen: Any
) -> list[DigRecord]:
    """Return digs at vines drawn by lot, numbered on from `first`."""
    vines = range(first, first + count)
    return [dig(day, vine, block_id, by_lot=True, **seen) for vine in vines]


def keep(engine: Engine, records: Iterable[DigRecord]) -> None:
    """Keep records in a store."""
    with writing(engine) as connection:
        for record in records:
            keep_dig_record(connection, record, "Ada", datetime.now(UTC))

"""Outlooks, kept with their day of issue so that they can be scored later."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from alerts.notices import Neighbour
from alerts.outlook.dates import Chances, Outlook, WarmWeeks
from service.store.among import among
from service.store.tables import outlook, outlook_air

_CHANCES = tuple(Chances.__dataclass_fields__)
_WARM = {name: f"warm_{name}" for name in WarmWeeks.__dataclass_fields__}


@dataclass(frozen=True)
class KeptOutlook:
    """An outlook, and what it rests on besides the block's own.

    curve_of : the block that its yearly curve is of, or the station
    borrowed : whom days were borrowed from
    air_issued_on : of the air forecast that it heeds
    """

    outlook: Outlook
    curve_of: str
    curve_is_station: bool = False
    borrowed: tuple[Neighbour, ...] = ()
    air_issued_on: date | None = None


def store_outlooks(
    connection: Connection, issued_on: date, found: Mapping[str, KeptOutlook]
) -> None:
    """Keep outlooks of one day, by block.

    Those that blocks had of that day before are replaced.
    """
    rows: dict[str, list[dict[str, Any]]] = {
        block_id: [
            {
                "block_id": block_id,
                "issued_on": issued_on,
                "event": event,
                "season": kept.outlook.season,
                "kind": kept.outlook.kind,
                "last_day": kept.outlook.last_day,
                "curve_of": None if kept.curve_is_station else kept.curve_of,
                "curve_of_station": kept.curve_of if kept.curve_is_station else None,
                **vars(chances),
                **_warm_columns(kept.outlook if event == "opens" else None),
                "open_chances": list(kept.outlook.open_chances),
                "borrowed": [asdict(one) for one in kept.borrowed],
            }
            for event, chances in (("opens", kept.outlook.opens), ("closes", kept.outlook.closes))
            if chances
        ]
        for block_id, kept in found.items()
    }
    if rows:
        of_day = among(outlook.c.block_id, rows), outlook.c.issued_on == issued_on
        connection.execute(delete(outlook).where(*of_day))
        connection.execute(insert(outlook), [row for of_block in rows.values() for row in of_block])
        of_day = among(outlook_air.c.block_id, rows), outlook_air.c.issued_on == issued_on
        connection.execute(delete(outlook_air).where(*of_day))
        with_air = [
            {"block_id": block_id, "issued_on": issued_on, "air_issued_on": kept.air_issued_on}
            for block_id, kept in found.items()
            if kept.air_issued_on
        ]
        if with_air:
            connection.execute(insert(outlook_air), with_air)


def prune_outlooks(connection: Connection, before: date) -> int:
    """Take out the outlooks of days before one; return how many rows."""
    connection.execute(delete(outlook_air).where(outlook_air.c.issued_on < before))
    return connection.execute(delete(outlook).where(outlook.c.issued_on < before)).rowcount


def _warm_columns(one: Outlook | None) -> dict[str, Any]:
    weeks = one.warm_weeks if one else None
    return {column: getattr(weeks, name, None) for name, column in _WARM.items()}


def fetch_outlooks(
    connection: Connection, block_ids: Collection[str], issued_on: date
) -> dict[str, KeptOutlook]:
    """Return, of the blocks that have one of that day, each its outlook."""
    query = (
        select(outlook, outlook_air.c.air_issued_on)
        .outerjoin(
            outlook_air,
            (outlook_air.c.block_id == outlook.c.block_id)
            & (outlook_air.c.issued_on == outlook.c.issued_on),
        )
        .where(outlook.c.issued_on == issued_on, among(outlook.c.block_id, block_ids))
    )
    events: dict[str, dict[str, Any]] = {}
    for row in connection.execute(query).mappings():
        events.setdefault(row["block_id"], {})[row["event"]] = row
    return {block_id: _kept(of_block) for block_id, of_block in events.items()}


def _kept(of_block: dict[str, Any]) -> KeptOutlook:
    row = of_block["closes"]
    borrowed = tuple(Neighbour(**one) for one in row["borrowed"])
    is_station = row["curve_of"] is None
    curve_of = row["curve_of_station"] if is_station else row["curve_of"]
    outlook = _outlook(of_block)
    return KeptOutlook(outlook, curve_of, is_station, borrowed, row["air_issued_on"])


def _outlook(of_block: dict[str, Any]) -> Outlook:
    closes, opens = of_block["closes"], of_block.get("opens")
    weeks = None
    if opens and opens["warm_peak_on"]:
        weeks = WarmWeeks(**{name: opens[column] for name, column in _WARM.items()})
    return Outlook(
        closes["season"],
        closes["issued_on"],
        closes["last_day"],
        closes["kind"],
        opens and Chances(**{name: opens[name] for name in _CHANCES}),
        Chances(**{name: closes[name] for name in _CHANCES}),
        weeks,
        tuple(closes["open_chances"]),
    )

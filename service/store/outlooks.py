"""Outlooks, kept with their day of issue so that they can be scored later."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from alerts.outlook.dates import Chances, Outlook, WarmWeeks
from service.store.tables import outlook

_CHANCES = tuple(Chances.__dataclass_fields__)
_WARM = {name: f"warm_{name}" for name in WarmWeeks.__dataclass_fields__}


def store_outlooks(
    connection: Connection, issued_on: date, found: Iterable[tuple[str, str, Outlook]]
) -> None:
    """Keep outlooks of one day, each as block, block of the yearly curve, and outlook.

    Those that blocks had of that day before are replaced.
    """
    rows: dict[str, list[dict[str, Any]]] = {
        block_id: [
            {
                "block_id": block_id,
                "issued_on": issued_on,
                "event": event,
                "season": one.season,
                "kind": one.kind,
                "last_day": one.last_day,
                "curve_of": curve_of,
                **vars(chances),
                **_warm_columns(one if event == "opens" else None),
            }
            for event, chances in (("opens", one.opens), ("closes", one.closes))
            if chances
        ]
        for block_id, curve_of, one in found
    }
    if rows:
        of_day = outlook.c.block_id.in_(rows), outlook.c.issued_on == issued_on
        connection.execute(delete(outlook).where(*of_day))
        connection.execute(insert(outlook), [row for of_block in rows.values() for row in of_block])


def _warm_columns(one: Outlook | None) -> dict[str, Any]:
    weeks = one.warm_weeks if one else None
    return {column: getattr(weeks, name, None) for name, column in _WARM.items()}


@dataclass(frozen=True)
class KeptOutlook:
    """An outlook, and the block that its yearly curve is of."""

    outlook: Outlook
    curve_of: str


def fetch_outlooks(
    connection: Connection, block_ids: Collection[str], issued_on: date
) -> dict[str, KeptOutlook]:
    """Return, of the blocks that have one of that day, each its outlook."""
    query = select(outlook).where(
        outlook.c.issued_on == issued_on, outlook.c.block_id.in_(list(block_ids))
    )
    events: dict[str, dict[str, Any]] = {}
    for row in connection.execute(query).mappings():
        events.setdefault(row["block_id"], {})[row["event"]] = row
    return {
        block_id: KeptOutlook(_outlook(of_block), of_block["closes"]["curve_of"])
        for block_id, of_block in events.items()
    }


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
    )

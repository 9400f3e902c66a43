"""Records of digs as the command line and the API print them."""

from __future__ import annotations

from alerts.dig.records import DigRecord


def show_find(record: DigRecord, photos: int) -> dict[str, str | int | float | None]:
    """Return a record by the names of `alerts.dig.written.CELLS`, what it comes to, its photos."""
    return {
        "record_id": record.record_id,
        "block": record.block_id,
        "row": record.vine[0],
        "vine": record.vine[1],
        "dug_on": record.dug_on.isoformat(),
        "person": record.person,
        "depth_cm": record.depth_cm,
        "roots": record.roots.value,
        "dead_roots": record.dead_roots,
        "swellings": record.swellings.value,
        "insects": record.insects.value,
        "specimen": record.specimen.value,
        "by_lot": record.by_lot,
        "mark": record.mark,
        "note": record.note,
        "latitude": record.latitude,
        "longitude": record.longitude,
        "outcome": record.outcome.value,
        "photos": photos,
    }

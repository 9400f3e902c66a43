"""Dig records for tests, in the block of tests/planted.py."""

from __future__ import annotations

from datetime import date
from typing import Any

from alerts.dig.records import DigRecord, Roots


def dig_record(number: int = 1, **said: Any) -> DigRecord:
    """Return a record whose id is made of `number`: fine roots, nothing seen."""
    plain = {
        "record_id": f"00000000-0000-4000-8000-{number:012d}",
        "block_id": "terrace-7",
        "vine": (3, number),
        "dug_on": date(2025, 5, 6),
        "person": "Ada Example",
        "roots": Roots.FINE,
    }
    return DigRecord(**{**plain, **said})

"""A record by its id, or by how that begins."""

from __future__ import annotations

import click
from sqlalchemy import Connection

from alerts.dig.records import DigRecord
from service.store.dig_records import fetch_versions, find_record_ids

SHORT = 8
"""Characters of an id that a list shows."""


def need_record(connection: Connection, start: str) -> DigRecord:
    """Return the one record whose id begins so, as it stands or was withdrawn."""
    found = find_record_ids(connection, start)
    if not found:
        why = f"no record begins with '{start}'; `digseason finds list` shows how they begin"
        raise click.BadParameter(why, param_hint="RECORD")
    if len(found) > 1:
        why = f"{len(found)} records begin with '{start}'; write more of the id"
        raise click.BadParameter(why, param_hint="RECORD")
    return fetch_versions(connection, found[0])[0].record
